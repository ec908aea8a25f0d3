
// Where the browser knows Background Sync, what waits is sent even while no tab is open.
self.addEventListener("sync", (event) => {
  if (event.tag !== "soundjoint-steel") return;
  event.waitUntil(sendAll().then(({ outcome }) => {
    if (outcome === "no signal") throw new Error("no signal yet: try again later");
  }));
});
