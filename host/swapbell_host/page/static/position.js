"use strict";

/* Beside a field for a position: a button that types where this device stands. Without this script, and where the device
   will not say, the position is typed by hand. */
(() => {
  // Our choice: under trees a first fix takes a while; whoever waits longer types it.
  const PATIENCE_MS = 30000;
  // Six decimals of a degree are a tenth of a metre: by plain arithmetic.
  const DECIMALS = 6;

  for (const field of document.querySelectorAll("input[data-position]")) {
    const button = document.createElement("button");
    const said = document.createElement("p");
    button.type = "button";
    button.className = "quiet";
    button.textContent = "Use where I stand";
    said.className = "help";
    said.setAttribute("role", "status");
    field.after(button, said);

    const type = ({ coords }) => {
      field.value = `${coords.latitude.toFixed(DECIMALS)}, ${coords.longitude.toFixed(DECIMALS)}`;
      said.textContent = `Within ${Math.ceil(coords.accuracy)} m, as this device says.`;
    };
    const giveUp = () => {
      said.textContent = "This device does not say where it is. Type the position.";
    };
    button.addEventListener("click", () => {
      said.textContent = "Looking for where you stand …";
      navigator.geolocation.getCurrentPosition(type, giveUp, { enableHighAccuracy: true, timeout: PATIENCE_MS });
    });
  }
})();
