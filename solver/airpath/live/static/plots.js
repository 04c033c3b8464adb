// The curves: the report's charts, built once and then fed with what is new.
/* global airpathCharts */

export function plots(page) {
  let built = null, line = Promise.resolve();

  async function build(content) {
    for (const host of page.querySelectorAll("[data-chart]")) {
      host.replaceChildren();
      host.classList.remove("drawn");
    }
    built = null;
    built = await airpathCharts(page, content);
  }

  const frame = () => new Promise((done) => requestAnimationFrame(() => done()));

  // One after the other; resolves when the curves are on the screen.
  function show(message) {
    line = line.then(async () => {
      if (message.what === "charts") await build(message.content);
      else if (built !== null) built.update(message.fresh);
      await frame();
      await frame();
    }).catch((error) => console.error(error));
    return line;
  }

  return {show};
}
