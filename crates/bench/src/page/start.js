// Choosing a lesson or beginning one. From: the list that the page came with.
import { say, send } from "./link.js";

const go = (path, body) => send(path, body).then(() => location.assign("/"), (e) => say(e.message));

document.addEventListener("click", (event) => {
  const at = event.target.closest("button[data-folder]");
  if (at) go("/choose", { folder: at.dataset.folder });
  const demo = event.target.closest("button[data-demo]");
  if (demo) go("/demo", { folder: demo.dataset.demo });
});
document.getElementById("create").addEventListener("submit", (event) => {
  event.preventDefault();
  go("/create", { title: document.getElementById("title").value });
});
