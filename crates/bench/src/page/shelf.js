// The shelf: opening a lesson that was found, writing down what pupils asked for. From: the page as it came.
import { say, send } from "./link.js";

const then = (path, body, go) => send(path, body).then(go, (e) => say(e.message));

document.addEventListener("click", (event) => {
  const at = event.target.closest("button[data-folder]");
  if (at) then("/choose", { folder: at.dataset.folder }, () => location.assign("/"));
});
document.getElementById("wish").addEventListener("submit", (event) => {
  event.preventDefault();
  then("/wishes", { lines: document.getElementById("lines").value }, () => location.reload());
});
