// Keeps a page fresh: parts that changed come from the service and replace what stands there.
// When nothing comes any more the page says so; an old page must never pass for a live one.
"use strict";
(() => {
  const SILENT_MS = 40000;
  const address = document.body.dataset.live;
  const lost = document.getElementById("lost");
  if (!address) return;
  let heard = Date.now();
  let kept = document.querySelector(".now time")?.textContent ?? "";
  const waiting = new Map();
  let wanted = null;
  let pressed = false;
  const REACHED = "a, button, summary";

  // A part must not be exchanged under a thumb that is just coming down on it.
  const busy = (part) => pressed || part.querySelector("details.ask[open]") || part.contains(document.activeElement) && document.activeElement.matches("input, select, textarea");
  const opened = (part) => [...part.querySelectorAll("details[open]")].map((d) => d.querySelector("summary")?.textContent);

  // What somebody filled in and left stays filled in when its part is exchanged.
  const isTick = (field) => ["radio", "checkbox"].includes(field.type);
  const isFilled = (field) => isTick(field) ? field.checked !== field.defaultChecked
    : field.tagName === "SELECT" ? field.selectedIndex > 0 && !field.options[field.selectedIndex].defaultSelected
    : field.value !== field.defaultValue;
  const isTwin = (one, other) => one.name === other.name && one.type === other.type && (!isTick(one) || one.value === other.value)
    && one.form?.getAttribute("action") === other.form?.getAttribute("action");
  function carry(part, fresh) {
    const fields = "input:not([type=hidden]), select, textarea";
    for (const field of [...part.querySelectorAll(fields)].filter(isFilled)) {
      const twin = [...fresh.querySelectorAll(fields)].find((one) => isTwin(one, field));
      if (twin && isTick(field)) twin.checked = field.checked;
      else if (twin) twin.value = field.value;
    }
  }

  function put(id, html) {
    const part = document.getElementById(id);
    if (!part) return;
    if (busy(part)) { waiting.set(id, html); return; }
    const open = opened(part);
    const focused = [...part.querySelectorAll(REACHED)].indexOf(document.activeElement);
    const holder = document.createElement("template");
    holder.innerHTML = html.trim();
    const fresh = holder.content.firstElementChild;
    if (!fresh) return;
    for (const d of fresh.querySelectorAll("details")) if (open.includes(d.querySelector("summary")?.textContent)) d.open = true;
    carry(part, fresh);
    part.replaceWith(fresh);
    if (focused >= 0) fresh.querySelectorAll(REACHED)[focused]?.focus({ preventScroll: true });
    waiting.delete(id);
  }

  function arrange(order) {
    const list = document.getElementById("strips");
    if (!list || !order) return;
    wanted = order;
    if (pressed) return;
    const now = [...list.children].map((child) => child.id);
    if (now.join() === order.join()) return;
    if (now.length !== order.length || order.some((id) => !document.getElementById(id))) {
      if (!document.querySelector("details.ask[open]")) location.reload();
      return;
    }
    for (const id of order) list.append(document.getElementById(id));
  }

  function alive(time) {
    heard = Date.now();
    if (time) kept = time;
    lost.hidden = true;
  }

  const stream = new EventSource(address);
  stream.addEventListener("parts", (event) => {
    const said = JSON.parse(event.data);
    for (const [id, html] of Object.entries(said.parts)) put(id, html);
    arrange(said.order);
    alive(said.time);
  });
  stream.addEventListener("beat", (event) => alive(event.data));
  stream.addEventListener("error", () => {
    // A refused stream (signed out, service restarted) is not tried again by itself.
    if (stream.readyState === EventSource.CLOSED) setTimeout(() => { if (Date.now() - heard > SILENT_MS) location.reload(); }, SILENT_MS + 5000);
  });
  function late() {
    for (const [id, html] of [...waiting]) put(id, html);
    if (wanted) arrange(wanted);
  }
  addEventListener("pointerdown", () => { pressed = true; });
  for (const name of ["pointerup", "pointercancel"]) addEventListener(name, () => setTimeout(() => { pressed = false; late(); }, 400));
  setInterval(() => {
    late();
    if (Date.now() - heard < SILENT_MS) return;
    lost.textContent = `No word from the service: this page stands still since ${kept}. Look at the tanks, or load the page again.`;
    lost.hidden = false;
  }, 5000);
  window.addEventListener("pagehide", () => stream.close());
  window.addEventListener("pageshow", (event) => { if (event.persisted) location.reload(); });
})();
