// The main part, and the one place in which the page says what happened.

/**
 * The main part of the page.
 * @returns {HTMLElement}
 */
export function main() {
  return /** @type {HTMLElement} */ (document.getElementById("main"));
}

/** The address of what is shown. */
export function here() {
  return location.pathname + location.search;
}

/**
 * Says something in the line at the top.
 * @param {string} words
 * @param {"" | "trouble"} kind
 */
export function say(words, kind = "") {
  said = { words, kind };
  write(words, kind);
}

/** What was said last. @type {{ words: string, kind: "" | "trouble" }} */
let said = { words: "", kind: "" };

/**
 * Says something for a while; `unsay` takes it back.
 * @param {string} words
 * @param {"" | "trouble"} kind
 */
export function write(words, kind) {
  const state = document.getElementById("state");
  if (!state) return;
  state.textContent = words;
  state.className = kind ? `state ${kind}` : "state";
}

/** What was said before it was overwritten is said again. */
export function unsay() {
  write(said.words, said.kind);
}

/**
 * Sends something to be done; says what went wrong.
 * @param {string} address
 * @param {unknown} body
 * @returns {Promise<any>} the answer, or null where it was not done
 */
export async function send(address, body) {
  try {
    const answer = await fetch(address, {
      method: "POST",
      headers: { "content-type": "application/json" },
      body: JSON.stringify(body),
    });
    const text = await answer.text();
    const told = text.startsWith("{") ? JSON.parse(text) : { what: text };
    if (answer.ok) return told;
    say(`${told.what}. ${told.hint ?? ""}`, "trouble");
  } catch {
    say("Not saved: the program does not answer. Is it still running?", "trouble");
  }
  return null;
}

/**
 * Says over the main part, which stays as it was, what has several lines.
 * @param {{ what: string, hint?: string }} told
 */
export function sayAtLength({ what, hint }) {
  say("The log cannot be read; see below.", "trouble");
  const words = document.createElement("pre");
  words.textContent = what;
  const whatToDo = document.createElement("p");
  whatToDo.textContent = `${hint ? `${hint}. ` : ""}The page below shows what held before; it goes on as soon as the log is mended.`;
  const place = document.createElement("div");
  place.id = "told";
  place.className = "trouble";
  place.setAttribute("role", "alert");
  place.append(words, whatToDo);
  document.getElementById("told")?.remove();
  main().before(place);
}
