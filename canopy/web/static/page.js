// What a page does beyond its forms and links; every page works without it, but for drawing and dragging.
"use strict";
(() => {
  const one = (what, where = document) => where.querySelector(what);
  const all = (what, where = document) => Array.from(where.querySelectorAll(what));
  const csrf = one("meta[name=csrf]").content;
  document.documentElement.classList.add("js");

  // ---- the last copy of pages for when there is no network; nothing of it stays after the sign-out
  if ("serviceWorker" in navigator && window.isSecureContext) {
    if (csrf) navigator.serviceWorker.register("/worker.js").catch(() => {});
    else if (window.caches) caches.delete("pages").catch(() => {});
  }

  // ---- small things
  for (const button of all("[data-print]")) button.addEventListener("click", () => window.print());
  document.addEventListener("click", (event) => {
    if (event.target.closest("[data-close]")) one("#sheet").close();
    if (event.target === one("#sheet")) one("#sheet").close();
  });
  const boxes = all("input[form=compare]");
  for (const box of boxes) {
    box.addEventListener("change", () => {
      const chosen = boxes.filter((other) => other.checked);
      if (chosen.length > 2) chosen.find((other) => other !== box).checked = false;
    });
  }

  // ---- why a cell is as it is, in a sheet over the page
  document.addEventListener("click", async (event) => {
    const link = event.target.closest("a[data-cell]");
    const address = link && (link.href.baseVal ?? link.href);
    if (!address || event.ctrlKey || event.metaKey || event.shiftKey) return;
    event.preventDefault();
    try {
      const answer = await fetch(address, { headers: { "X-Part": "1" } });
      if (!answer.ok) throw new Error(String(answer.status));
      const part = new DOMParser().parseFromString(await answer.text(), "text/html");
      const sheet = one("#sheet");
      sheet.replaceChildren(...part.body.childNodes);
      sheet.showModal();
      sheet.scrollTop = 0;
    } catch {
      location.href = address;
    }
  });

  // ---- photos: each on its own, with its progress
  const snap = one("#snap");
  if (snap) {
    const list = one("#sending");
    const lines = new Map();
    let begun = 0;
    for (const button of all("[data-pick]")) {
      button.addEventListener("click", () => one("#" + button.dataset.pick).click());
    }
    const line = (item) => {
      if (!lines.has(item.key)) {
        const li = document.createElement("li");
        const name = document.createElement("span");
        const bar = document.createElement("progress");
        name.textContent = item.name || "Photo";
        bar.max = 1;
        bar.value = 0;
        bar.setAttribute("aria-label", "sent");
        li.append(name, bar);
        list.append(li);
        lines.set(item.key, li);
      }
      return lines.get(item.key);
    };
    for (const input of all("#camera, #gallery")) {
      input.addEventListener("change", async () => {
        const photos = Array.from(input.files);
        begun += photos.length;
        for (const photo of photos) {
          const key = canopy.key();
          const fields = { key, tray: one("#tray").value, modified: String(photo.lastModified || "") };
          const item = { to: "/snap", key, name: photo.name, photo, fields };
          line(item);
          await canopy.send(item);
        }
        input.value = "";
      });
    }
    canopy.onSent((item, event) => {
      if (!item.photo) return;
      const li = line(item);
      const words = li.firstChild;
      if (event.progress !== undefined) {
        li.querySelector("progress").value = event.progress;
        words.textContent = (item.name || "Photo") + (event.progress >= 1 ? ": sent, being measured" : ": being sent");
      } else if (event.waits) {
        words.textContent = (item.name || "Photo") + ": waits on this phone";
      } else if (event.refused) {
        li.querySelector("progress").remove();
        words.textContent = (item.name || "Photo") + ": " + event.refused;
      } else {
        const told = event.answer[0];
        const link = document.createElement("a");
        link.href = told.url;
        link.textContent = (told.tray || item.name || "Photo") + ": " + told.words;
        li.replaceChildren(link);
        if (begun === 1) location.href = told.url;
      }
    });
  }

  // ---- ticks: shown at once, sent when the network is there
  const ticks = all("form.ticks .pick");
  const cellOf = (button) => button.value.split(" ")[0];
  const tickOf = (tray, cell) => ticks.find((button) => button.form.tray.value === tray && cellOf(button) === cell);
  const setTick = (button, done) => {
    if ((button.getAttribute("aria-pressed") === "true") === done) return;
    button.setAttribute("aria-pressed", String(done));
    button.value = cellOf(button) + (done ? " no" : " yes");
    for (const place of [one("#left"), one(".tray-left", button.closest("section"))]) {
      place.textContent = String(Number(place.textContent) + (done ? -1 : 1));
    }
  };
  const today = () => {
    const now = new Date();
    return [now.getFullYear(), now.getMonth() + 1, now.getDate()].map((n) => String(n).padStart(2, "0")).join("-");
  };
  for (const form of all("form.ticks")) {
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      const tick = event.submitter.value;
      const key = canopy.key();
      setTick(event.submitter, tick.endsWith(" yes"));
      canopy.send({ to: "/today/cut", key, fields: { key, tray: form.tray.value, tick, on: today() } });
    });
  }
  canopy.onSent((item, event) => {
    if (item.to !== "/today/cut" || !event.refused) return;
    const [cell, word] = item.fields.tick.split(" ");
    const button = tickOf(item.fields.tray, cell);
    if (button) setTick(button, word === "no");
  });
  for (const form of all("form.grams")) {
    form.addEventListener("submit", (event) => {
      const grams = Number(form.grams.value.replace(",", "."));
      if (!(grams > 0)) return;
      event.preventDefault();
      const key = canopy.key();
      canopy.send({ to: "/today/grams", key, fields: { key, tray: form.tray.value, grams: String(grams) } });
      const sum = one(".so-far", form);
      sum.textContent = String(Math.round(10 * (Number(sum.textContent) + grams)) / 10);
      form.grams.value = "";
    });
  }
  const showPending = async () => {
    for (const item of await canopy.waiting()) {
      if (item.to !== "/today/cut") continue;
      const [cell, word] = item.fields.tick.split(" ");
      const button = tickOf(item.fields.tray, cell);
      if (button) setTick(button, word === "yes");
    }
  };

  // ---- what if: the outcome follows the numbers
  const whatIf = one("#what-if");
  if (whatIf) {
    let soon = 0;
    let asked = 0;
    const look = async () => {
      const number = (asked += 1);
      const address = "/what-if?" + new URLSearchParams(new FormData(whatIf));
      const answer = await fetch(address);
      if (!answer.ok || number !== asked) return;
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      for (const part of ["#outcome", "#seen"]) one(part).replaceWith(document.adoptNode(one(part, page)));
      const said = all("main > .box.bad", page);
      for (const old of all("main > .box.bad")) old.remove();
      whatIf.before(...said.map((box) => document.adoptNode(box)));
    };
    whatIf.addEventListener("input", () => {
      clearTimeout(soon);
      soon = setTimeout(look, 250);
    });
  }

  canopy.startQueue().then(showPending);
})();
