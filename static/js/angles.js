// A tile of the car all round, when its picture was sent: the picture, the stroke across it, and the count.
(() => {
  document.addEventListener("photos:added", (event) => {
    const tile = event.target.closest("[data-photo-tile]");
    if (!tile) return;
    const { photo } = event.detail;
    const shot = document.createElement("a");
    shot.className = "shot";
    shot.href = photo.url;
    shot.dataset.shot = "";
    const image = document.createElement("img");
    image.src = photo.thumb;
    image.alt = tile.querySelector("h2").textContent;
    shot.append(image);
    tile.querySelector("[data-shot]").replaceWith(shot);
    tile.querySelector("[data-shot-words]").textContent = "just now";
    tile.querySelector("[data-shot-skip]")?.remove();
    tile.classList.remove("passed", "next");
    tile.classList.add("done");
    // The accent moves on to what is waited for now.
    tile.querySelector(".btn.hand")?.classList.remove("hand");
    const next = document.querySelector("[data-photo-tile]:not(.done, .passed)");
    document.querySelectorAll("[data-photo-tile] .photo-buttons .btn.hand").forEach((each) => {
      each.classList.remove("hand");
    });
    next?.classList.add("next");
    next?.querySelector(".photo-buttons .btn")?.classList.add("hand");
    const count = document.querySelector("[data-angles-done]");
    if (count) count.textContent = document.querySelectorAll("[data-photo-tile]:is(.done, .passed)").length;
  });
})();
