// The button that prints; without JavaScript the browser's own menu does the same.
"use strict";

document.addEventListener("click", (event) => {
  if (event.target.closest("[data-print]")) window.print();
});
