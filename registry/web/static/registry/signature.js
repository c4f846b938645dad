// A signature drawn by hand, kept as a PNG in a hidden field. Without this script the name is typed.
"use strict";

for (const box of document.querySelectorAll(".drawing[data-drawn]")) {
  const field = document.getElementById(box.dataset.drawn);
  const canvas = box.querySelector("canvas");
  const pen = canvas.getContext("2d");
  let drawing = false;

  const clear = () => {
    pen.fillStyle = "#ffffff";
    pen.fillRect(0, 0, canvas.width, canvas.height);
    field.value = "";
  };
  const place = (event) => {
    const shown = canvas.getBoundingClientRect();
    return [
      ((event.clientX - shown.left) * canvas.width) / shown.width,
      ((event.clientY - shown.top) * canvas.height) / shown.height,
    ];
  };

  const kept = field.value;
  clear();
  if (kept) {
    const picture = new Image();
    picture.addEventListener("load", () => pen.drawImage(picture, 0, 0));
    picture.src = kept;
    field.value = kept;
  }
  pen.lineWidth = 3;
  pen.lineCap = "round";
  pen.lineJoin = "round";
  pen.strokeStyle = "#101820";

  canvas.addEventListener("pointerdown", (event) => {
    drawing = true;
    canvas.setPointerCapture(event.pointerId);
    pen.beginPath();
    pen.moveTo(...place(event));
  });
  canvas.addEventListener("pointermove", (event) => {
    if (!drawing) return;
    pen.lineTo(...place(event));
    pen.stroke();
  });
  for (const end of ["pointerup", "pointercancel"]) {
    canvas.addEventListener(end, () => {
      if (!drawing) return;
      drawing = false;
      field.value = canvas.toDataURL("image/png");
    });
  }
  box.querySelector("button").addEventListener("click", clear);
  box.hidden = false;
}
