// Touch the drawing where the finding is: it fills the field of the form, which stays the way in for a keyboard.
(function () {
  "use strict";
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

  // Where along a weld is touched as the phone does it; those modules come only where there is such a drawing.
  function run(figure, input) {
    import("./look_touch.js").then(function (module) { module.lookTouch(figure, input); });
  }

  document.querySelectorAll("[data-touch]").forEach(function (figure) {
    var input = document.getElementById(figure.dataset.target);
    if (!input) { return; }
    figure.hidden = false;
    if (figure.dataset.touch === "bolts") { bolts(figure, input); } else { run(figure, input); }
  });
})();
