"""Loudness and true peak as broadcasters measure them: ITU-R BS.1770-4, EBU R 128.

`meters` measure one channel, by samples (with the filters of `k_weighting`) or off the spectrum;
`take_loudness` all channels of a take, `true_peak` the highest peak between samples.
"""
