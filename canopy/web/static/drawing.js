// Dragging corners under a loupe, choosing cells and painting on the tray.
"use strict";
(() => {
  const one = (what, where = document) => where.querySelector(what);
  const all = (what, where = document) => Array.from(where.querySelectorAll(what));
  const SVG = "http://www.w3.org/2000/svg";

  const placeIn = (svg, event) => {
    const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
    return [point.x, point.y];
  };

  // ---- corners
  const corners = one("#corners");
  if (corners) {
    const svg = one("svg", corners);
    const handles = all(".handle", svg);
    const numbers = all("text", svg);
    const crosses = all(".cross", svg);
    const width = Number(corners.dataset.width);
    const height = Number(corners.dataset.height);
    const loupe = one("#loupe");
    const photo = new Image();
    photo.src = one("image", svg).getAttribute("href");
    const places = handles.map((handle) => [Number(handle.getAttribute("cx")), Number(handle.getAttribute("cy"))]);

    const show = () => {
      places.forEach(([x, y], k) => {
        for (const [name, value] of [["cx", x], ["cy", y]]) handles[k].setAttribute(name, value);
        for (const [name, value] of [["x", x], ["y", y]]) numbers[k].setAttribute(name, value);
        const arm = Number(crosses[k].dataset.arm);
        const lines = ["M" + (x - arm) + "," + y + "h" + 2 * arm, "M" + x + "," + (y - arm) + "v" + 2 * arm];
        crosses[k].setAttribute("d", lines.join(""));
      });
      one("polygon", svg).setAttribute("points", places.map((place) => place.join(",")).join(" "));
      one("#numbers").value = places.map(([x, y]) => x.toFixed(1) + " " + y.toFixed(1)).join(" ");
    };
    const move = (k, x, y) => {
      places[k] = [Math.min(Math.max(x, 0), width), Math.min(Math.max(y, 0), height)];
      show();
    };
    const look = ([x, y]) => {
      const pen = loupe.getContext("2d");
      const scale = photo.naturalWidth / width;
      const half = Math.max(20, 0.02 * photo.naturalWidth);
      pen.fillStyle = "#000";
      pen.fillRect(0, 0, 170, 170);
      pen.imageSmoothingEnabled = false;
      pen.drawImage(photo, x * scale - half, y * scale - half, 2 * half, 2 * half, 0, 0, 170, 170);
      pen.strokeStyle = "#ff0";
      pen.lineWidth = 2;
      pen.beginPath();
      pen.moveTo(85, 50); pen.lineTo(85, 78); pen.moveTo(85, 92); pen.lineTo(85, 120);
      pen.moveTo(50, 85); pen.lineTo(78, 85); pen.moveTo(92, 85); pen.lineTo(120, 85);
      pen.stroke();
    };
    handles.forEach((handle, k) => {
      handle.addEventListener("pointerdown", (event) => {
        event.preventDefault();
        handle.setPointerCapture(event.pointerId);
        const [x, y] = placeIn(svg, event);
        const away = [places[k][0] - x, places[k][1] - y];
        const drag = (moved) => {
          const [px, py] = placeIn(svg, moved);
          move(k, px + away[0], py + away[1]);
          look(places[k]);
        };
        const end = () => {
          handle.removeEventListener("pointermove", drag);
          loupe.hidden = true;
        };
        loupe.hidden = false;
        look(places[k]);
        handle.addEventListener("pointermove", drag);
        handle.addEventListener("pointerup", end, { once: true });
        handle.addEventListener("pointercancel", end, { once: true });
      });
      handle.addEventListener("keydown", (event) => {
        const step = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
        if (!step) return;
        event.preventDefault();
        const far = event.shiftKey ? 20 : 2;
        move(k, places[k][0] + far * step[0], places[k][1] + far * step[1]);
      });
    });
  }

  // ---- cells and strokes
  const paint = one("#paint");
  const svg = paint && one(".above svg", paint);
  if (svg) {
    const list = one("#cell");
    const form = one("#strokes");
    const drawn = one(".strokes", svg);
    const cells = all("[data-cell]", svg);
    const smallest = Math.min(...cells.map((cell) => Number(one("rect", cell).getAttribute("width"))));
    const radius = Math.round(10 * smallest / 8) / 10;
    const strokes = [];
    let brush = "";

    const showCells = () => {
      for (const cell of cells) {
        const chosen = Array.from(list.options).some((option) => option.selected && option.text === cell.dataset.cell);
        cell.classList.toggle("chosen", chosen);
        cell.setAttribute("aria-pressed", String(chosen));
      }
    };
    const choose = (cell) => {
      const option = Array.from(list.options).find((other) => other.text === cell.dataset.cell);
      option.selected = !option.selected;
      option.scrollIntoView({ block: "nearest" });
      showCells();
    };
    for (const cell of cells) {
      cell.addEventListener("click", () => { if (!brush) choose(cell); });
      cell.addEventListener("keydown", (event) => {
        if (event.key !== "Enter" && event.key !== " ") return;
        event.preventDefault();
        choose(cell);
      });
    }
    list.addEventListener("change", showCells);
    showCells();

    const showStrokes = () => {
      one("input[name=strokes]", form).value = strokes.length ? JSON.stringify(strokes) : "";
      for (const button of all("button", form)) button.disabled = !strokes.length;
    };
    for (const button of all("[data-brush]", paint)) {
      button.addEventListener("click", () => {
        brush = button.dataset.brush;
        paint.classList.toggle("painting", Boolean(brush));
        for (const other of all("[data-brush]", paint)) {
          other.setAttribute("aria-pressed", String(other === button));
          other.classList.toggle("main", other === button);
        }
      });
    }
    one("[data-brush='']", paint).classList.add("main");
    one("[data-undo]", form).addEventListener("click", () => {
      strokes.pop();
      drawn.lastElementChild.remove();
      showStrokes();
    });
    svg.addEventListener("pointerdown", (event) => {
      if (!brush || event.button) return;
      event.preventDefault();
      svg.setPointerCapture(event.pointerId);
      const points = [placeIn(svg, event).map((v) => Math.round(10 * v) / 10)];
      const line = document.createElementNS(SVG, "polyline");
      line.setAttribute("class", "stroke-" + brush);
      line.setAttribute("stroke-width", 2 * radius);
      drawn.append(line);
      const draw = () => {
        const shown = points.length > 1 ? points : [points[0], points[0].map((v) => v + 0.1)];
        line.setAttribute("points", shown.map((point) => point.join(",")).join(" "));
      };
      const drag = (moved) => {
        const next = placeIn(svg, moved).map((v) => Math.round(10 * v) / 10);
        const last = points[points.length - 1];
        if (points.length < 2000 && Math.hypot(next[0] - last[0], next[1] - last[1]) >= radius / 3) points.push(next);
        draw();
      };
      const end = () => {
        svg.removeEventListener("pointermove", drag);
        strokes.push({ plant: brush === "plant", radius_mm: radius, points_mm: points });
        showStrokes();
      };
      draw();
      svg.addEventListener("pointermove", drag);
      svg.addEventListener("pointerup", end, { once: true });
      svg.addEventListener("pointercancel", end, { once: true });
    });
  }
})();
