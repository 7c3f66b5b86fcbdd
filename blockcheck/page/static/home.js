// Beginning a quilt.
import { post, send, tried } from "./talk.js";

async function begin(body) {
  const made = await tried(() => post("/new", body));
  if (made) location.href = encodeURI(made.to);
}

document.getElementById("new").addEventListener("submit", (event) => {
  event.preventDefault();
  const form = new FormData(event.target);
  begin({ name: form.get("name"), unit: form.get("unit") });
});
document.getElementById("example").addEventListener("click", () => begin({ example: true }));
document.getElementById("bring").addEventListener("change", async (event) => {
  const [file] = event.target.files;
  if (!file) return;
  const name = document.getElementById("new-name").value.trim() || file.name.replace(/\.json$/i, "");
  const made = await tried(() => send(`/bring?${new URLSearchParams({ name })}`, file));
  event.target.value = "";
  if (made) location.href = encodeURI(made.to);
});
