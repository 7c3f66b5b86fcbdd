// A damaged project: a copy of what is sound.
import { make, post, tried } from "./talk.js";

const button = document.getElementById("mend");
button?.addEventListener("click", () => tried(async () => {
  button.disabled = true;
  const done = await post(`/p/${encodeURIComponent(button.dataset.of)}/check`, {}).finally(() => { button.disabled = false; });
  document.getElementById("mended").replaceChildren(
    make("h2", {}, `Written: ${done.name}`),
    make("ul", {}, ...done.said.map((line) => make("li", {}, line))),
    make("p", {}, "Look at its plan and its blocks before you go on with it."),
    done.to ? make("p", {}, make("a", { class: "button main", href: encodeURI(done.to) }, `Open ${done.name}`)) : null,
  );
  button.hidden = true;
}));
