// The curves: the report's charts, each built once and then fed with what is new; one out of sight waits until it is seen.
/* global airpathCharts, Bokeh */

export function plots(page) {
  let drawn = [], line = Promise.resolve();
  const eye = new IntersectionObserver((entries) => {
    for (const {target, isIntersecting} of entries) {
      const one = drawn.find((candidate) => candidate.host === target);
      if (one) { one.seen = isIntersecting; catchUp(one); }
    }
  }, {rootMargin: "80px"});

  async function build(content) {
    clear();
    const pictures = [...new Set(content.charts.map((chart) => chart.picture))];
    for (const picture of pictures) {
      const host = page.querySelector(`[data-chart="${picture}"]`);
      const charts = content.charts.filter((chart) => chart.picture === picture);
      const built = await airpathCharts(host.parentElement, {...content, charts});
      drawn.push({host, built, seen: true, late: null});
      keyBefore(drawn.at(-1));
      eye.observe(host);
    }
  }

  function clear() {
    eye.disconnect();
    for (const {host, built} of drawn) {
      built.clear();
      const sheet = built.figures[0].document;
      sheet.clear();
      Bokeh.documents.splice(Bokeh.documents.indexOf(sheet), 1);
      host.replaceChildren();
      host.classList.remove("drawn");
    }
    drawn = [];
  }

  // The key tells of the frozen curve once there is one; its place is kept, so that nothing jumps then.
  function keyBefore({host, built}) {
    const none = built.sources.before.data.frequency.length === 0;
    for (const label of host.querySelectorAll('[data-source="before"]')) label.classList.toggle("none", none);
  }

  function catchUp(one) {
    if (!one.seen || one.late === null) return;
    const fresh = one.late;
    one.late = null;
    one.built.update(fresh);
    keyBefore(one);
  }

  function feed(fresh) {
    for (const one of drawn) {
      one.late = {...fresh, sources: {...one.late?.sources, ...fresh.sources}};
      catchUp(one);
    }
  }

  const frame = () => new Promise((done) => requestAnimationFrame(() => done()));

  // One after the other; resolves when the curves are on the screen.
  function show(message) {
    line = line.then(async () => {
      if (message.what === "charts") await build(message.content);
      else feed(message.fresh);
      await frame();
      await frame();
    }).catch((error) => console.error(error));
    return line;
  }

  return {show};
}
