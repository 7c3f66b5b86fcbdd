// Beginning a quilt.
import { post, tried } from "./talk.js";

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
