// Talks to the page's server; what it refuses comes as an error with a sentence and its status.

export async function asked(address, body) {
  let answer;
  try {
    answer = await fetch(address, body === undefined ? {} : {
      method: "POST",
      headers: { "Content-Type": "application/json" },
      body: JSON.stringify(body),
    });
  } catch {
    throw new Error("calltag does not answer any more: start it again in its terminal. What was answered is kept.");
  }
  if (!answer.ok) {
    const text = await answer.text();
    let sentence = text;
    try {
      sentence = JSON.parse(text).problem;
    } catch { /* no JSON: the text itself */ }
    throw Object.assign(new Error(sentence), { status: answer.status });
  }
  return answer;
}
