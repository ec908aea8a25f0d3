// Touch the photo: first where the mark is, then where the arrow comes from or the ring's edge. It fills the fields,
// which stay the way in for a keyboard and without a script.
(function () {
  "use strict";
  var figure = document.querySelector(".marked[data-touchable]");
  if (!figure) { return; }
  var svg = figure.querySelector("svg"), second = false;
  function fill(name, value) {
    var input = document.getElementById("id_" + name);
    input.value = String(Math.round(Math.min(Math.max(value, 0), 1) * 1000) / 10);
    input.dispatchEvent(new Event("change", { bubbles: true }));
  }
  function dot(x, y) { // shows where the touch fell; gone with the next first touch
    var height = svg.viewBox.baseVal.height, look = second ? "mark-line" : "mark-edge";
    if (!second) { svg.querySelectorAll("[data-dot]").forEach(function (old) { old.remove(); }); }
    var circle = document.createElementNS("http://www.w3.org/2000/svg", "circle");
    [["cx", x * 1000], ["cy", y * height], ["r", 9], ["class", look], ["data-dot", ""]].forEach(function (pair) {
      circle.setAttribute(pair[0], pair[1]);
    });
    svg.appendChild(circle);
  }
  svg.addEventListener("click", function (event) {
    var box = svg.getBoundingClientRect();
    var x = (event.clientX - box.left) / box.width, y = (event.clientY - box.top) / box.height;
    var words = document.getElementById("id_shape").value === "text";
    dot(x, y);
    fill(second && !words ? "x2" : "x", x);
    fill(second && !words ? "y2" : "y", y);
    second = !second && !words;
  });
}());
