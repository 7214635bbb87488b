// Lays the later picture over the earlier one and lets a slider say how much of it is seen.
"use strict";
for (const both of document.querySelectorAll(".before-after")) {
  const label = both.querySelector("label");
  const range = label.querySelector("input");
  const show = () => both.style.setProperty("--shown", `${range.value}%`);
  both.classList.add("with-slider");
  label.hidden = false;
  range.addEventListener("input", show);
  show();
}
