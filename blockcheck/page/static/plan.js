// The plan's form: all of it is kept, or nothing and the reason is said.
import { act, say, tried } from "./talk.js";

const form = document.getElementById("plan");
form.addEventListener("submit", async (event) => {
  event.preventDefault();
  const entries = {};
  for (const field of form.elements) if (field.name) entries[field.name] = field.type === "checkbox" ? field.checked : field.value;
  for (const field of form.elements) field.removeAttribute?.("aria-invalid");
  try { await act("plan", { entries }); } catch (error) { wrong(error.message); return; }
  sessionStorage.setItem("said", "The plan is saved.");
  location.reload();
});

/** Say what is wrong, and lead to the entry that the words quote. */
function wrong(said) {
  say(said, 12);
  const quoted = said.match(/["“]([^"”]+)["”]/)?.[1];
  const field = quoted && [...form.elements].find((f) => f.name && f.type !== "checkbox" && (f.value.trim() === quoted || f.labels?.[0]?.textContent === quoted));
  if (!field) return;
  field.closest("details")?.setAttribute("open", "");
  field.setAttribute("aria-invalid", "true");
  field.focus({ preventScroll: true });
  field.scrollIntoView({ block: "center" });
}

for (const which of ["undo", "redo"]) document.getElementById(which).addEventListener("click", async () => {
  const done = await tried(() => act(which, { of: "plan" }));
  if (done) { sessionStorage.setItem("said", done.said); location.reload(); }
});
const said = sessionStorage.getItem("said");
if (said) { say(said); sessionStorage.removeItem("said"); }
