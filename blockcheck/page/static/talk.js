// Asking the server, and saying what it answered.
export const project = document.body.dataset.project || "";
export const home = project ? `/p/${encodeURIComponent(project)}` : "";
const given = document.getElementById("data");
export const data = given ? JSON.parse(given.textContent) : {};

let quiet = 0;
/** Say something to everybody: on the screen, and to a screen reader. */
export function say(text, forSeconds = 6) {
  const place = document.getElementById("said");
  place.textContent = text;
  clearTimeout(quiet);
  quiet = setTimeout(() => { place.textContent = ""; }, forSeconds * 1000);
}

/** The answer's JSON; throws with the server's own words. */
export async function answer(response) {
  let body = {};
  try { body = await response.json(); } catch { /* no words came along */ }
  if (!response.ok) throw new Error((body.said || ["The computer does not answer as it should."]).join(" "));
  return body;
}

async function reach(address, init) {
  try { return await fetch(address, init); } catch {
    throw new Error("The computer does not answer. Is blockcheck still running?");
  }
}

export async function get(address) { return answer(await reach(address)); }

/** Do one of the actions; with `show` the view's data and part come back with it. */
export async function act(action, body = {}) {
  return post(`${home}/do/${action}`, body);
}

export async function post(address, body) {
  return answer(await reach(address, {
    method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify(body),
  }));
}

/** Send a file as it is. */
export async function send(address, file) {
  return answer(await reach(address, { method: "POST", body: file }));
}

/** Run what a person asked for; what goes wrong is said. */
export async function tried(work) {
  try { return await work(); } catch (error) { say(error.message, 12); return null; }
}

/** Put a part of a page that the server has written in its place; the focus stays where it was. */
export function place(element, html) {
  const held = element.contains(document.activeElement) ? path(document.activeElement, element) : null;
  const open = [...element.querySelectorAll("details")].map((d) => d.open);
  element.innerHTML = html;
  element.querySelectorAll("details").forEach((d, i) => { d.open = open[i] || d.open; });
  if (held) (find(held, element) || element.querySelector("button, a, input") || element).focus?.();
}

function path(node, root) {
  if (node.id) return node.id;
  const way = [];
  for (let n = node; n !== root; n = n.parentElement) way.unshift([...n.parentElement.children].indexOf(n));
  return way;
}

function find(way, root) {
  if (typeof way === "string") return document.getElementById(way);
  let node = root;
  for (const i of way) node = node?.children[i];
  return node;
}

/** Make an element with attributes and children. */
export function make(tag, attributes = {}, ...children) {
  const node = document.createElement(tag);
  for (const [key, value] of Object.entries(attributes)) {
    if (key.startsWith("on")) node.addEventListener(key.slice(2), value);
    else if (value !== false && value != null) node.setAttribute(key, value === true ? "" : value);
  }
  node.append(...children.filter((c) => c != null));
  return node;
}

const SVG = "http://www.w3.org/2000/svg";
export function draw(parent, tag, attributes = {}, text = null) {
  const node = document.createElementNS(SVG, tag);
  for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, value);
  if (text !== null) node.textContent = text;
  parent.append(node);
  return node;
}
