// Signing out on any page: what this device keeps for the steel goes too, and nothing unsent goes unasked.
import { all } from "./queue.js";
import { clearDevice } from "./store.js";

document.querySelectorAll('form[action$="/sign-out/"]').forEach((form) => form.addEventListener("submit", async (event) => {
  event.preventDefault();
  try {
    if ((await all()).length) { location.assign("/steel/#leave"); return; }
    await clearDevice();
  } catch { /* no storage here: nothing is kept */ }
  form.submit();
}));
