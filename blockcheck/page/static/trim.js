// At the table: ticks are kept as they are made, and a trimmed block leads to the next.
import { act, data, home, tried } from "./talk.js";

const main = document.querySelector("main");
main.addEventListener("change", async (event) => {
  const { what } = event.target.dataset;
  if (!what) return;
  const box = event.target;
  const done = await tried(() => act("tick", { what, done: box.checked }));
  if (!done) box.checked = !box.checked; // it was not kept
});
main.addEventListener("click", async (event) => {
  const { state } = event.target.closest("button")?.dataset || {};
  if (!state) return;
  const done = await tried(() => act("state", { name: data.name, state }));
  if (!done) return;
  if (state === "trimmed" && data.after) location.href = `${home}/trim?name=${encodeURIComponent(data.after)}`;
  else location.href = `${home}/trim?name=${encodeURIComponent(data.name)}`;
});
