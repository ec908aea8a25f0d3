// Touch the drawing where the finding is: it fills the field of the form, which stays the way in for a keyboard.
(function () {
  "use strict";
  var WIDTH = 360, LEFT = 16, RIGHT = 344; // of the drawing of a weld's run, as drawing_run.py draws it

  function numbers(input) {
    return input.value.split(/[^0-9]+/).filter(Boolean).map(Number);
  }

  function say(input) {
    input.dispatchEvent(new Event("input", { bubbles: true }));
    input.dispatchEvent(new Event("change", { bubbles: true }));
  }

  function bolts(figure, input) {
    function show() {
      var chosen = numbers(input);
      figure.querySelectorAll("[data-bolt]").forEach(function (bolt) {
        bolt.classList.toggle("chosen", chosen.indexOf(Number(bolt.dataset.bolt)) >= 0);
      });
    }
    figure.addEventListener("click", function (event) {
      var bolt = event.target.closest("[data-bolt]");
      if (!bolt) { return; }
      var number = Number(bolt.dataset.bolt), chosen = numbers(input), at = chosen.indexOf(number);
      if (at >= 0) { chosen.splice(at, 1); } else { chosen.push(number); }
      input.value = chosen.sort(function (a, b) { return a - b; }).join(", ");
      say(input);
    });
    input.addEventListener("input", show);
    show();
  }

  function run(figure, input) {
    var svg = figure.querySelector("svg"), total = Number(figure.dataset.runMm) || 0;
    var mark = document.createElementNS("http://www.w3.org/2000/svg", "path");
    mark.setAttribute("class", "chosen-mark");
    svg.appendChild(mark);
    function show() {
      var value = parseFloat(input.value), share = total ? value / total : value / 360;
      var x = LEFT + share * (RIGHT - LEFT);
      mark.setAttribute("d", share >= 0 && share <= 1 ? "M" + x + " 40V84M" + (x - 6) + " 34H" + (x + 6) + "L" + x + " 42Z" : "");
    }
    figure.addEventListener("click", function (event) {
      var box = svg.getBoundingClientRect();
      var share = ((event.clientX - box.left) / box.width * WIDTH - LEFT) / (RIGHT - LEFT);
      share = Math.min(Math.max(share, 0), 1);
      input.value = total ? String(Math.round(share * total)) : String(Math.round(share * 12) % 12 * 30);
      say(input);
    });
    input.addEventListener("input", show);
    input.addEventListener("change", show);
    show();
  }

  document.querySelectorAll("[data-touch]").forEach(function (figure) {
    var input = document.getElementById(figure.dataset.target);
    if (!input) { return; }
    figure.hidden = false;
    if (figure.dataset.touch === "bolts") { bolts(figure, input); } else { run(figure, input); }
  });
})();
