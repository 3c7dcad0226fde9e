// Times as the shop's clock shows them (body[data-time-zone], an IANA name), wherever the device believes that it is: what
// a script says ("kept at 14:05") goes with the times that the server wrote beside it. ms or a Date.
(() => {
  const DAY = 24 * 3600 * 1000;
  const { timeZone } = document.body.dataset; // none on an old copy of a page: then the device's own
  const words = (options) => {
    try { return new Intl.DateTimeFormat("en-GB", { ...options, timeZone }); } catch { return new Intl.DateTimeFormat("en-GB", options); }
  };
  const time = words({ hour: "2-digit", minute: "2-digit" });
  const day = words({ day: "numeric", month: "short" });
  const whole = words({ dateStyle: "short" });
  window.shopTime = {
    clock: (at) => time.format(at), // 14:05
    day: (at) => day.format(at), // 28 Nov
    isDay: (at, ago = 0) => whole.format(at) === whole.format(Date.now() - ago * DAY), // today, or so many days ago
  };
})();
