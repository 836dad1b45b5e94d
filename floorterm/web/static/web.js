"use strict";
// Keys and scans reach the terminal without a click: it has the focus as soon as it draws, and again whenever this
// page gets it back.
function listen() {
  const input = document.querySelector("#terminal textarea");
  if (input && !document.body.classList.contains("-closed")) input.focus();
}
new MutationObserver(listen).observe(document.body, { attributeFilter: ["class"] });
window.addEventListener("focus", listen);

// The terminal knows a scan by its rhythm, and the way through a network has a rhythm of its own. So characters that
// come closer together than a scanner's gap leave as one message; other keys and taps leave at once.
const GAP_MS = 30;
const send = WebSocket.prototype.send;
let held = "";
let timer = 0;
function release(socket) {
  clearTimeout(timer);
  if (held && socket.readyState === WebSocket.OPEN) send.call(socket, JSON.stringify(["stdin", held]));
  held = "";
}
WebSocket.prototype.send = function (message) {
  const [kind, text] = JSON.parse(message);
  if (kind === "stdin" && !text.startsWith("\u001b")) {
    held += text;
    clearTimeout(timer);
    timer = setTimeout(release, GAP_MS, this);
    return;
  }
  release(this);
  if (this.readyState === WebSocket.OPEN) send.call(this, message);
};
