"""From a take's sound to its calls.

`finder` reads a take and is `loaded` once in each process; `one_pass` goes through its `windows`.
What it asks there, in this order:

- `whines`: tones that only a machine can hold, which the starter model is to hear without
- `segments`: events, held against what sounds `beside` them; `turns` part animals that answer each
  other, `chorus` what goes on and on, and `low_calls` are what is too low for the model to hear
- `surroundings`: what sounds about an event; by that the `second_look` judges it
- `talk` and `hands`: whether it is people or handling instead; each is a `weighted_sum`
- `measuring`: the row of numbers by which call types are told

`whole` is the same for a short sound at once, from which the programs that make the model learn.
"""
