// The plan's form: all of it is kept, or nothing and the reason is said.
import { act, say, tried } from "./talk.js";

const form = document.getElementById("plan");
form.addEventListener("submit", async (event) => {
  event.preventDefault();
  const entries = {};
  for (const field of form.elements) if (field.name) entries[field.name] = field.type === "checkbox" ? field.checked : field.value;
  if (await tried(() => act("plan", { entries }))) {
    sessionStorage.setItem("said", "The plan is saved.");
    location.reload();
  }
});
for (const which of ["undo", "redo"]) document.getElementById(which).addEventListener("click", async () => {
  const done = await tried(() => act(which, { of: "plan" }));
  if (done) { sessionStorage.setItem("said", done.said); location.reload(); }
});
const said = sessionStorage.getItem("said");
if (said) { say(said); sessionStorage.removeItem("said"); }
