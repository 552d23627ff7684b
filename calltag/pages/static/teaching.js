// Teaching, which goes on in the server while the page is used.

import { asked } from "./asking.js";
import { $ } from "./page.js";

const ASK_EVERY_MS = 400;

// Begins to teach, shows how far it is, and returns what came of it.
export async function teach() {
  $("teach").disabled = true;
  try {
    let state = await (await asked("teach", {})).json();
    $("teaching").hidden = false;
    while (state.running) {
      $("step").textContent = `${state.step}, ${state.seconds.toFixed(0)} s`;
      await new Promise((resolve) => setTimeout(resolve, ASK_EVERY_MS));
      state = await (await asked("teach")).json();
    }
    if (state.problem) throw new Error(state.problem);
    return state;
  } finally {
    $("teach").disabled = false;
    $("teaching").hidden = true;
  }
}
