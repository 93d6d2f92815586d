// What a hand does to a picture: one pointer at a time, and the wheel.
function held(svg, event, follow, ended) { // a pointer goes over a picture until it is let go, or the page scrolls instead
  svg.setPointerCapture(event.pointerId);
  const own = (act) => (e) => { if (e.pointerId === event.pointerId) act(e); };
  const moved = own(follow), end = own((e) => {
    svg.removeEventListener("pointermove", moved);
    for (const name of ["pointerup", "pointercancel"]) svg.removeEventListener(name, end);
    ended(e.type === "pointercancel");
  });
  svg.addEventListener("pointermove", moved);
  for (const name of ["pointerup", "pointercancel"]) svg.addEventListener(name, end);
}

function wheeled(event) { // how much closer: a notch of a wheel a fifth, fingers on a pad by how far they go
  const far = -event.deltaY * (event.deltaMode ? 33 : 1) * (event.ctrlKey ? 0.01 : 0.002);
  return Math.exp(Math.min(Math.max(far, -0.18), 0.18));
}
