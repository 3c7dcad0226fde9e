// Whether this device trusts the server. Somebody who goes past the browser's warning sees an encrypted page all the
// same; but a browser lets a page keep copies only where the certificate is trusted, so that is what is asked.
(() => {
  const answer = document.getElementById("answer");
  const notYet = document.getElementById("not-yet");
  if (!answer || !notYet) return;
  if (!("serviceWorker" in navigator)) {
    answer.textContent = "Encrypted. But this browser keeps no pages for when the network is gone, perhaps since it "
      + "is a private window.";
    return;
  }
  // The same request as copies.js makes.
  navigator.serviceWorker.register("/sw.js", { scope: "/", updateViaCache: "none" }).then(
    () => {
      answer.textContent = "Trusted: this device keeps what it needs for when the network is gone.";
      answer.classList.add("crossed");
    },
    (error) => {
      // Any other failure says nothing about the certificate: then the sentence in the page stands.
      if (error.name !== "SecurityError") return;
      answer.hidden = true;
      notYet.hidden = false;
    },
  );
})();
