// What a person sends is first written down on the phone, then sent, and forgotten when the server has answered.
// Everything carries a key of its own, so that the server counts it once however often it arrives.
"use strict";
const canopy = (window.canopy = window.canopy || {});

(() => {
  const RETRY_MS = [2000, 5000, 10000, 20000];
  const listeners = [];
  let sending = false;
  let failures = 0;
  let timer = 0;
  let refused = "";

  const opened = new Promise((done, failed) => {
    const request = indexedDB.open("canopy", 1);
    request.onupgradeneeded = () => request.result.createObjectStore("waiting", { keyPath: "number", autoIncrement: true });
    request.onsuccess = () => done(request.result);
    request.onerror = () => failed(request.error);
  });

  async function store(mode, work) {
    const database = await opened;
    return new Promise((done, failed) => {
      const transaction = database.transaction("waiting", mode);
      const request = work(transaction.objectStore("waiting"));
      transaction.oncomplete = () => done(request && request.result);
      transaction.onerror = transaction.onabort = () => failed(transaction.error);
    });
  }

  canopy.key = () => {
    const bytes = crypto.getRandomValues(new Uint8Array(12));
    return Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
  };

  canopy.waiting = () => store("readonly", (table) => table.getAll());
  canopy.onSent = (listener) => listeners.push(listener);

  // item: {to, fields, photo?, key}
  canopy.send = async (item) => {
    await store("readwrite", (table) => table.add(item));
    await show();
    pump();
  };

  function tell(item, event) {
    for (const listener of listeners) listener(item, event);
  }

  function post(item) {
    return new Promise((done) => {
      const body = new FormData();
      for (const [name, value] of Object.entries(item.fields)) body.append(name, value);
      if (item.photo) body.append("photos", item.photo, "photo");
      const request = new XMLHttpRequest();
      request.open("POST", item.to);
      request.setRequestHeader("X-CSRF-Token", document.querySelector("meta[name=csrf]").content);
      request.setRequestHeader("Accept", "application/json");
      request.timeout = 120000;
      request.upload.onprogress = (event) => {
        if (event.lengthComputable) tell(item, { progress: event.loaded / event.total });
      };
      const lost = () => done({ status: 0 });
      request.onerror = request.ontimeout = request.onabort = lost;
      request.onload = () => {
        let answer = null;
        try { answer = JSON.parse(request.responseText); } catch { answer = null; }
        done({ status: request.status, answer });
      };
      request.send(body);
    });
  }

  async function pump() {
    if (sending) return;
    sending = true;
    clearTimeout(timer);
    try {
      for (let item; (item = (await canopy.waiting())[0]); ) {
        tell(item, { progress: 0 });
        const { status, answer } = await post(item);
        if (status === 0 || status === 401 || status === 408 || status === 429 || status >= 500) {
          failures += 1;
          tell(item, { waits: true, signIn: status === 401 });
          if (status === 401) { await show(true); return; }
          timer = setTimeout(pump, RETRY_MS[Math.min(failures, RETRY_MS.length) - 1]);
          break;
        }
        failures = 0;
        await store("readwrite", (table) => table.delete(item.number));
        const good = status >= 200 && status < 300;
        if (!good) refused = (answer && answer.detail) || "Refused (" + status + ").";
        tell(item, good ? { answer } : { refused });
        await show();
      }
    } finally {
      sending = false;
      await show(undefined);
    }
  }

  let asksForSignIn = false;
  async function show(signIn) {
    const box = document.getElementById("waiting");
    if (!box) return;
    if (signIn !== undefined) asksForSignIn = signIn;
    const items = await canopy.waiting();
    const photos = items.filter((item) => item.photo).length;
    const others = items.length - photos;
    const parts = [];
    if (photos) parts.push(photos + (photos === 1 ? " photo" : " photos"));
    if (others) parts.push(others + (others === 1 ? " tick" : " ticks"));
    box.textContent = "";
    if (items.length) {
      const waits = items.length === 1 ? " waits" : " wait";
      box.append(parts.join(" and ") + waits + " on this phone, to be sent when the network is there. ");
      if (asksForSignIn) {
        const link = document.createElement("a");
        link.href = "/sign-in?to=" + encodeURIComponent(location.pathname);
        link.textContent = "Sign in to send.";
        box.append(link);
      }
    } else if (refused) {
      box.append("Not taken: " + refused);
    }
    box.hidden = !items.length && !refused;
  }

  window.addEventListener("online", () => { failures = 0; pump(); });
  document.addEventListener("visibilitychange", () => { if (!document.hidden) pump(); });
  canopy.startQueue = async () => {
    await show();
    if (document.querySelector("meta[name=csrf]").content) pump();
  };
})();
