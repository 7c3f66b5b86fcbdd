// The cutting list: ticks are kept; papers come in the size that is chosen.
import { act, tried } from "./talk.js";

document.querySelector("main").addEventListener("change", async (event) => {
  const box = event.target;
  if (box.id === "paper") {
    for (const link of document.querySelectorAll("#files a")) link.search = `?paper=${box.value}`;
    return;
  }
  const { what } = box.dataset;
  if (what && !(await tried(() => act("tick", { what, done: box.checked })))) box.checked = !box.checked;
});
document.getElementById("print").addEventListener("click", () => print());
