// Draws the charts of report/figures/interactive.py with BokehJS. airpathCharts(page, content) puts each chart into the element
// [data-chart="<picture>"] of the page and returns {figures, sources, views, update, clear}; nothing is fetched, no text is HTML.
"use strict";

const airpathCharts = (() => {
  const FONT = '"DejaVu Sans", Verdana, Arial, sans-serif';
  const INK = "#1c2733", SOFT = "#6b7783", GRID = "#dde2e6", ALARM = "#a3262a";
  const TONE = {wide: 56, row: 14}, FLAG = {wide: 21, row: 20, size: 17, bend: 14}, TICK = 38, NEAR = 12;

  function element(kind, attributes = {}, ...inside) {
    const made = document.createElement(kind);
    for (const [name, value] of Object.entries(attributes)) made.setAttribute(name, value);
    made.append(...inside);
    return made;
  }

  // Rows in which labels of one width, in order of their places [px], have room.
  function rowsFor(places, wide) {
    const taken = [];
    return places.map((place) => {
      let row = taken.findIndex((last) => place - last >= wide);
      if (row < 0) row = taken.length;
      taken[row] = place;
      return row;
    });
  }

  function styleAxis(axis, label) {
    axis.axis_label = label;
    axis.axis_label_text_font = axis.major_label_text_font = FONT;
    axis.axis_label_text_font_style = "normal";
    axis.axis_label_text_font_size = axis.major_label_text_font_size = "12px";
    axis.axis_label_text_color = axis.major_label_text_color = INK;
    axis.axis_line_color = axis.major_tick_line_color = SOFT;
    axis.minor_tick_line_color = null;
  }

  // Round frequencies: 1, 2, 5 a decade, more in a narrow band; those without room are left out.
  function frequencyTicks(low, high, width) {
    const decades = Math.log10(high / low);
    const digits = decades > 1.2 ? [1, 2, 5] : decades > 0.5 ? [1, 1.5, 2, 3, 4, 5, 7]
      : Array.from({length: 180}, (_, i) => 1 + i / 20);
    const ticks = [];
    let last = -Infinity;
    for (let power = Math.floor(Math.log10(low)); power <= Math.log10(high); power += 1) {
      for (const digit of digits) {
        const tick = Number((digit * 10 ** power).toPrecision(4));
        const place = Math.log(tick / low) / Math.log(high / low) * width;
        if (tick < low * 0.9999 || tick > high * 1.0001 || place - last < TICK) continue;
        ticks.push(tick);
        last = place;
      }
    }
    return ticks;
  }

  // Push places [px], in rising order, apart inside the width, moving them as little as it takes (pooled means).
  function spread(places, apart, width) {
    const edge = 0.5 * FLAG.wide, pools = [];
    places.forEach((place, i) => {
      let mean = place - i * apart, count = 1;
      while (pools.length && pools[pools.length - 1].mean > mean) {
        const before = pools.pop();
        mean = (mean * count + before.mean * before.count) / (count + before.count);
        count += before.count;
      }
      pools.push({mean, count});
    });
    const level = pools.flatMap(({mean, count}) => Array(count).fill(mean));
    const last = width - edge - (places.length - 1) * apart;
    return level.map((mean, i) => Math.max(edge, Math.min(mean, last)) + i * apart);
  }

  // Limits are named at the right end: excursion and air speed are highest at low frequencies.
  function drawLimits(figure, limits) {
    for (const [value, name] of limits) {
      figure.add_layout(new Bokeh.Span({location: value, dimension: "width", line_color: ALARM, line_dash: [9, 4],
        level: "underlay"}));
      const label = new Bokeh.Label({x: 4, y: value, x_units: "screen", y_offset: 2, text: name, text_color: ALARM,
        text_font: FONT, text_font_size: "11px", text_align: "right"});
      figure.add_layout(label);
      figure.properties.inner_width.change.connect(() => { label.x = figure.inner_width - 4; });
    }
  }

  function drawChart(chart, content, sources, shared, first, last) {
    const coarse = window.matchMedia("(pointer: coarse)").matches;
    const tools = [new Bokeh.BoxZoomTool({dimensions: "width"}), new Bokeh.PanTool({dimensions: "width"}),
      new Bokeh.WheelZoomTool({dimensions: "width"}), new Bokeh.ResetTool()];
    const figure = new Bokeh.Plotting.Figure({
      x_range: shared.range, y_range: new Bokeh.Range1d({start: chart.low, end: chart.high}),
      x_axis_type: "log", y_axis_type: chart.scale, height: chart.height, sizing_mode: "stretch_width",
      tools, toolbar_location: first ? "above" : null, min_border_left: 64, min_border_right: 12, lod_threshold: null,
    });
    figure.toolbar.logo = null;
    figure.toolbar.active_drag = coarse ? null : tools[0];
    figure.toolbar.active_scroll = null;
    figure.outline_line_color = null;
    for (const grid of figure.grids ?? []) grid.grid_line_color = GRID;
    styleAxis(figure.xaxis, !last ? "" : content.scale === 1 ? "frequency (Hz)" : "frequency of the model (Hz)");
    figure.xaxis.formatter = new Bokeh.NumeralTickFormatter({format: "0[.][00]"});
    const ticker = new Bokeh.FixedTicker({ticks: []});
    figure.xaxis.ticker = figure.xgrid.ticker = ticker;
    styleAxis(figure.yaxis, chart.axis);
    figure.yaxis.formatter = new Bokeh.NumeralTickFormatter({format: "0[.][00]"});
    if (chart.ticks.length) figure.yaxis.ticker = new Bokeh.FixedTicker({ticks: chart.ticks});
    figure.add_tools(new Bokeh.CrosshairTool({overlay: shared.across, visible: false}));
    const renderers = chart.curves.map((curve) => {
      const at = {x: {field: "frequency"}, y: {field: curve.column}, source: sources[curve.source]};
      const drawn = curve.dots
        ? figure.scatter({...at, marker: "circle", size: 4, color: curve.colour})
        : figure.line({...at, line_color: curve.colour, line_dash: curve.dash, line_width: curve.width});
      return drawn;
    });
    drawLimits(figure, chart.limits);
    return {figure, chart, renderers, ticker, marks: drawMarks(figure, chart, content, first)};
  }

  // Tones and flags stand in a strip above the curves; arrange() places them whenever the axis or the width changes.
  function drawMarks(figure, chart, content, named) {
    for (const tone of content.tones) {
      figure.add_layout(new Bokeh.Span({location: tone, dimension: "height", line_color: SOFT, line_dash: [1, 3],
        level: "underlay"}));
    }
    if (!named) return {};
    const tones = new Bokeh.ColumnDataSource({data: {x: [], y: [], text: []}});
    figure.text({x: {field: "x"}, y: {field: "y"}, text: {field: "text"}, source: tones, text_align: "center",
      text_baseline: "middle", text_font: FONT, text_font_size: "11px", text_color: INK});
    if (!chart.flags) return {tones};
    const names = ["x", "y", "head", "level", "xs", "ys", "number", "colour", "marker", "size",
      "heading", "words"];
    const flags = new Bokeh.ColumnDataSource({data: Object.fromEntries(names.map((name) => [name, []]))});
    figure.multi_line({xs: {field: "xs"}, ys: {field: "ys"}, source: flags, line_color: {field: "colour"},
      line_width: 1, line_alpha: 0.7});
    figure.scatter({x: {field: "x"}, y: {field: "y"}, source: flags, size: {field: "size"},
      marker: {field: "marker"}, fill_color: {field: "colour"}, line_color: "white"});
    figure.scatter({x: {field: "head"}, y: {field: "level"}, source: flags, size: FLAG.size,
      marker: "square", fill_color: "white", line_color: {field: "colour"}, line_width: 2});
    figure.text({x: {field: "head"}, y: {field: "level"}, text: {field: "number"}, source: flags,
      text_align: "center", text_baseline: "middle", text_font: FONT, text_font_size: "10px",
      text_font_style: "bold", text_color: INK});
    return {tones, flags};
  }

  function arrange(drawn, content, view) {
    const {figure, chart, ticker, marks} = drawn;
    const frame = view.frame.bbox, low = figure.x_range.start, high = figure.x_range.end;
    if (!frame.width) return;
    ticker.ticks = frequencyTicks(low, high, frame.width);
    if (!marks.tones) return;
    const place = (f) => Math.log(f / low) / Math.log(high / low) * frame.width;
    const seen = (list, at) => list.filter((item) => at(item) >= low && at(item) <= high).sort((a, b) => at(a) - at(b));
    const tones = seen(content.tones, (tone) => tone);
    const toneRows = rowsFor(tones.map(place), TONE.wide);
    const flags = chart.flags ? seen(content.flags, (flag) => flag.frequency) : [];
    const rows = Math.ceil(flags.length * FLAG.wide / (0.8 * frame.width));
    const feet = flags.map((flag) => place(flag.frequency));
    const heads = spread(feet, FLAG.wide / Math.max(1, rows), frame.width);
    const strips = [(Math.max(-1, ...toneRows) + 1) * TONE.row, rows && rows * FLAG.row + FLAG.bend];
    const head = strips[0] + strips[1] + 6, share = Math.min(0.6, head / frame.height);
    const log = chart.scale === "log";
    const end = log ? chart.low * (chart.high / chart.low) ** (1 / (1 - share))
      : chart.low + (chart.high - chart.low) / (1 - share);
    figure.y_range.end = end;
    const down = (pixels) => log ? end * (chart.low / end) ** (pixels / frame.height)
      : end - (end - chart.low) * pixels / frame.height;
    const inside = (f) => Math.min(Math.max(place(f), 24), frame.width - 24);
    marks.tones.data = {
      x: tones.map((tone) => low * (high / low) ** (inside(tone) / frame.width)),
      y: toneRows.map((row) => down((row + 0.5) * TONE.row)),
      text: tones.map((tone) => `${Number(tone.toPrecision(4))} Hz`),
    };
    if (!marks.flags) return;
    const across = (pixels) => low * (high / low) ** (pixels / frame.width);
    const levels = flags.map((_, i) => down(strips[0] + 2 + (i % rows + 0.5) * FLAG.row));
    const bends = [strips[0] + rows * FLAG.row, strips[0] + rows * FLAG.row + FLAG.bend].map(down);
    const own = (key) => flags.map((flag) => flag[key]);
    marks.flags.data = {
      x: own("frequency"), y: own("impedance"), head: heads.map(across), level: levels,
      xs: flags.map((flag, i) => [across(heads[i]), across(heads[i]), flag.frequency, flag.frequency]),
      ys: flags.map((flag, i) => [levels[i], ...bends, flag.impedance]),
      number: flags.map((flag) => String(flag.number)),
      colour: own("colour"), marker: own("marker"),
      size: own("marker").map((marker) => ({diamond: 13, star: 14}[marker] ?? 9)), heading: own("heading"), words: own("words"),
    };
  }

  // The key: a tick box with a piece of line for every curve, reached by keyboard too.
  function keyFor(drawnCharts) {
    const entries = new Map();
    for (const {chart, renderers} of drawnCharts) {
      chart.curves.forEach((curve, i) => {
        if (!entries.has(curve.label)) entries.set(curve.label, {curve, renderers: []});
        entries.get(curve.label).renderers.push(renderers[i]);
      });
    }
    const key = element("div", {class: "key", role: "group", "aria-label": "Curves shown"});
    for (const {curve, renderers} of entries.values()) {
      const box = element("input", {type: "checkbox", checked: ""});
      box.addEventListener("change", () => renderers.forEach((r) => { r.visible = box.checked; }));
      key.append(element("label", {"data-source": curve.source}, box, sample(curve), ` ${curve.label}`));
    }
    return key;
  }

  function sample(curve) {
    const space = "http://www.w3.org/2000/svg";
    const picture = document.createElementNS(space, "svg"), line = document.createElementNS(space, "line");
    for (const [name, value] of Object.entries({width: 34, height: 10, "aria-hidden": "true"})) {
      picture.setAttribute(name, value);
    }
    const look = {x1: 2, y1: 5, x2: 34, y2: 5, stroke: curve.colour, "stroke-width": curve.dots ? 4 : curve.width,
      "stroke-dasharray": curve.dots ? "0 6" : curve.dash.join(" "), "stroke-linecap": curve.dots ? "round" : "butt"};
    for (const [name, value] of Object.entries(look)) line.setAttribute(name, value);
    picture.append(line);
    return picture;
  }

  // Where a value stands in a chart [px].
  function rulers({figure, chart}, view) {
    const {left, bottom, width, height} = view.frame.bbox, {x_range: x, y_range: y} = figure;
    const up = chart.scale === "log" ? (v) => Math.log(v / y.start) / Math.log(y.end / y.start)
      : (v) => (v - y.start) / (y.end - y.start);
    return {across: (f) => left + width * Math.log(f / x.start) / Math.log(x.end / x.start),
      down: (v) => bottom - height * up(v)};
  }

  function toSegment(px, py, [ax, ay], [bx, by]) {
    const long = (bx - ax) ** 2 + (by - ay) ** 2;
    const share = long ? Math.max(0, Math.min(1, ((px - ax) * (bx - ax) + (py - ay) * (by - ay)) / long)) : 0;
    return Math.hypot(px - ax - share * (bx - ax), py - ay - share * (by - ay));
  }

  // How far a curve runs from the pointer, and the index of its point that is nearest along the frequency.
  function toCurve(px, py, {frequency}, values, dots, {across, down}) {
    const points = [];
    let index = -1, apart = Infinity;
    for (let i = 0; i < frequency.length; i += 1) {
      const x = across(frequency[i]);
      if (Math.abs(x - px) < apart) { apart = Math.abs(x - px); index = i; }
      if (Math.abs(x - px) < 3 * NEAR) points.push([x, down(values[i])]);
    }
    const ways = dots ? points.map((point) => toSegment(px, py, point, point))
      : points.slice(1).map((point, i) => toSegment(px, py, points[i], point));
    return {way: Math.min(Infinity, ...ways), index};
  }

  // What stands under the pointer, line by line: a numbered mark, then every curve, then where that is.
  function readings(px, py, drawn, content, sources, view) {
    const {chart, renderers, marks} = drawn, own = rulers(drawn, view), lines = [];
    const flags = marks.flags?.data ?? {x: []};
    const near = (x, y) => Math.hypot(own.across(x) - px, own.down(y) - py) < NEAR;
    const flag = [...flags.x.keys()].find((i) => near(flags.x[i], flags.y[i]) || near(flags.head[i], flags.level[i]));
    if (flag !== undefined) lines.push(`number ${flags.number[flag]}: ${flags.heading[flag]}`, `cause: ${flags.words[flag]}`);
    const digits = (chart.form.split(".")[1] ?? "").length;
    let at = null;
    chart.curves.forEach((curve, i) => {
      const {data} = sources[curve.source], values = data[curve.column];
      if (!renderers[i].visible || !values) return;
      const {way, index} = toCurve(px, py, data, values, curve.dots, own);
      if (way > NEAR) return;
      lines.push(`${curve.reading}: ${values[index].toFixed(digits).replace("-", "\u2212")} ${chart.unit}`);
      at ??= data.frequency[index];
    });
    if (at !== null) {
      lines.push(`at ${at.toFixed(1)} Hz` + (content.scale === 1 ? "" : `, full size ${(at / content.scale).toFixed(1)} Hz`));
    }
    return lines;
  }

  // One slip of readings beside the pointer. A finger leaves the chart when it is lifted: it reads where it was then.
  function readUnder(drawn, content, sources, view) {
    const tip = element("div", {class: "tip", role: "status"}), field = view.canvas_view?.events_el ?? view.canvas.events_el;
    tip.style.cssText = `position: fixed; z-index: 9; pointer-events: none; display: none; padding: 4px 8px; color: ${INK};
      background: #fff; border: 1px solid ${SOFT}; border-radius: 4px; font: 12px/1.45 ${FONT}; max-width: 22rem;`;
    document.body.append(tip);
    const hide = () => { tip.style.display = "none"; };
    function read({clientX, clientY}) {
      const box = field.getBoundingClientRect(), bar = document.documentElement.clientWidth;
      const lines = readings(clientX - box.left, clientY - box.top, drawn, content, sources, view);
      tip.replaceChildren(...lines.map((line) => element("div", {}, line)));
      if (!lines.length) { hide(); return; }
      Object.assign(tip.style, {display: "block", left: "0", top: "0"});
      const left = clientX + 14 + tip.offsetWidth < bar ? clientX + 14 : Math.max(4, clientX - 14 - tip.offsetWidth);
      const below = clientY + 14 + tip.offsetHeight < window.innerHeight;
      tip.style.left = `${left}px`;
      tip.style.top = `${below ? clientY + 14 : Math.max(4, clientY - 14 - tip.offsetHeight)}px`;
    }
    field.addEventListener("pointermove", (event) => { if (event.pointerType !== "touch") read(event); });
    field.addEventListener("pointerleave", (event) => { if (event.pointerType !== "touch") hide(); });
    field.addEventListener("pointerup", (event) => { if (event.pointerType === "touch") read(event); });
    window.addEventListener("scroll", hide, {passive: true, capture: true});
    return () => { tip.remove(); window.removeEventListener("scroll", hide, {capture: true}); };
  }

  async function airpathCharts(page, content) {
    const sources = Object.fromEntries(Object.entries(content.sources).map(
      ([name, data]) => [name, new Bokeh.ColumnDataSource({name, data})]));
    const frequency = Object.values(content.sources)[0].frequency;
    const band = [frequency[0], frequency[frequency.length - 1]];
    const shared = {
      range: new Bokeh.Range1d({start: band[0], end: band[1], bounds: band}),
      across: new Bokeh.Span({dimension: "height", line_color: SOFT, line_width: 1}),
    };
    const sheet = new Bokeh.Document(), drawn = [], places = [];
    for (const picture of new Set(content.charts.map((chart) => chart.picture))) {
      const host = page.querySelector(`[data-chart="${picture}"]`);
      if (!host) continue;
      const live = element("div", {class: "live"});
      const own = content.charts.filter((chart) => chart.picture === picture)
        .map((chart, i, all) => drawChart(chart, content, sources, shared, i === 0, i === all.length - 1));
      live.append(keyFor(own));
      for (const one of own) {
        const place = element("div", {class: "plot"});
        live.append(place);
        sheet.add_root(one.figure);
        drawn.push(one);
        places.push(place);
      }
      host.prepend(live);
      host.classList.add("drawn");
    }
    const views = await Bokeh.embed.add_document_standalone(sheet, document.body, places).catch((error) => {
      for (const host of page.querySelectorAll(".drawn")) {  // the pictures are there still
        host.querySelector(".live").remove();
        host.classList.remove("drawn");
      }
      throw error;
    });
    const arrangeAll = () => drawn.forEach((one) => arrange(one, content, views.get_one(one.figure)));
    arrangeAll();
    const slips = drawn.map((one) => readUnder(one, content, sources, views.get_one(one.figure)));
    shared.range.change.connect(arrangeAll);
    drawn.forEach((one) => one.figure.properties.inner_width.change.connect(arrangeAll));
    function update(fresh) {  // {sources: {name: columns}, flags, charts: [{name, low, high}]}: what has changed
      for (const [name, data] of Object.entries(fresh.sources ?? {})) sources[name].data = data;
      content.flags = fresh.flags ?? content.flags;
      for (const {chart} of drawn) {
        const other = (fresh.charts ?? []).find((candidate) => candidate.name === chart.name);
        if (other) Object.assign(chart, {low: other.low, high: other.high});
      }
      arrangeAll();
    }
    const clear = () => slips.forEach((remove) => remove());
    return {figures: drawn.map((one) => one.figure), sources, views, update, clear};
  }

  return airpathCharts;
})();
