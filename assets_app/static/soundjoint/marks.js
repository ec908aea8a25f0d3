// Touch the photo: first where the mark is, then where the arrow comes from or the ring's edge. It fills the fields,
// which stay the way in for a keyboard and without a script; what they hold is shown on the photo, however it came in.
(function () {
  "use strict";
  var figure = document.querySelector(".marked[data-touchable]");
  if (!figure) { return; }
  var svg = figure.querySelector("svg"), shape = field("shape");
  function field(name) { return document.getElementById("id_" + name); }
  function share(name) { // NaN where nothing is told
    var text = field(name).value.trim();
    return text === "" ? NaN : Number(text) / 100;
  }
  function fill(name, value) {
    field(name).value = isNaN(value) ? "" : String(Math.round(Math.min(Math.max(value, 0), 1) * 1000) / 10);
  }
  function draw() {
    svg.querySelectorAll("[data-dot]").forEach(function (old) { old.remove(); });
    dot(share("x"), share("y"), "mark-edge");
    if (shape.value !== "text") { dot(share("x2"), share("y2"), "mark-line"); }
  }
  function dot(x, y, look) {
    if (!(x >= 0 && x <= 1 && y >= 0 && y <= 1)) { return; }
    var circle = document.createElementNS("http://www.w3.org/2000/svg", "circle"), height = svg.viewBox.baseVal.height;
    [["cx", x * 1000], ["cy", y * height], ["r", 9], ["class", look], ["data-dot", ""]].forEach(function (pair) {
      circle.setAttribute(pair[0], pair[1]);
    });
    svg.appendChild(circle);
  }
  svg.addEventListener("click", function (event) {
    var box = svg.getBoundingClientRect();
    var x = (event.clientX - box.left) / box.width, y = (event.clientY - box.top) / box.height;
    var second = shape.value !== "text" && !isNaN(share("x")) && isNaN(share("x2"));
    if (!second) { // a mark begun anew must not keep the other end of the one before
      fill("x", x); fill("y", y);
      x = NaN; y = NaN;
    }
    fill("x2", x); fill("y2", y);
    draw();
  });
  shape.form.addEventListener("input", draw);
  draw();
}());
