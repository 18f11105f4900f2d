"use strict";

/* Draws a station's counts so that they can be looked into: in place of the picture that the page came with, from the
   same moments and values, by the clock of the site. */
(() => {
  const TOP_PX = 76;
  const HEIGHT_PX = 420;
  const PHASE_PX = 24;
  const FLAG_PX = 18;
  const FONT = "15px system-ui, 'DejaVu Sans', sans-serif";
  const MONTHS = "{D} {MMM}";
  const HOURS = "{HH}:{mm}";
  // How far apart labels may stand [s], how each is written, and what is added where a new year or day begins.
  const LABELS = [
    [31536000, "{YYYY}", null, null, null, null, null, null, 1],
    [2419200, "{MMM}", "\n{YYYY}", null, null, null, null, null, 1],
    [86400, MONTHS, "\n{YYYY}", null, null, null, null, null, 1],
    [60, HOURS, `\n${MONTHS}`, null, `\n${MONTHS}`, null, null, null, 1],
    [1, "{HH}:{mm}:{ss}", `\n${MONTHS}`, null, `\n${MONTHS}`, null, null, null, 1],
  ];

  const ink = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();

  function hatch(context) {
    const tile = document.createElement("canvas");
    tile.width = tile.height = 8 * devicePixelRatio;
    const pen = tile.getContext("2d");
    pen.fillStyle = ink("--paper");
    pen.fillRect(0, 0, tile.width, tile.height);
    pen.strokeStyle = ink("--line");
    pen.lineWidth = devicePixelRatio;
    pen.beginPath();
    for (const shift of [-1, 0, 1]) {
      pen.moveTo(shift * tile.width, tile.height);
      pen.lineTo((shift + 1) * tile.width, 0);
    }
    pen.stroke();
    return context.createPattern(tile, "repeat");
  }

  // Each band has its edge: in the sun a shade alone is not seen.
  function bands(plot, pairs, fill) {
    const { ctx, bbox } = plot;
    ctx.fillStyle = fill;
    ctx.strokeStyle = ink("--line");
    ctx.lineWidth = 0.5 * devicePixelRatio;
    for (const [from, to] of pairs) {
      const left = Math.max(plot.valToPos(from, "x", true), bbox.left);
      const right = Math.min(plot.valToPos(to, "x", true), bbox.left + bbox.width);
      if (right <= left) continue;
      ctx.fillRect(left, bbox.top, right - left, bbox.height);
      ctx.strokeRect(left, bbox.top, right - left, bbox.height);
    }
  }

  function behind(shown) {
    return (plot) => {
      const { ctx } = plot;
      ctx.save();
      ctx.setLineDash([]);
      bands(plot, shown.foraging ?? [], ink("--shade"));
      bands(plot, shown.gaps, hatch(ctx));
      ctx.restore();
    };
  }

  function phases(plot, shown, unit) {
    const { ctx, bbox } = plot;
    const top = bbox.top - (TOP_PX - 2) * unit;
    for (const each of shown.phases) {
      const left = Math.max(plot.valToPos(each.from, "x", true), bbox.left);
      const right = Math.min(plot.valToPos(each.to, "x", true), bbox.left + bbox.width);
      if (right <= left) continue;
      ctx.strokeRect(left, top, right - left, PHASE_PX * unit);
      if (ctx.measureText(each.phase).width < right - left) {
        ctx.fillText(each.phase, (left + right) / 2, top + (PHASE_PX / 2) * unit);
      }
    }
  }

  function flag(plot, mark, number, unit) {
    const { ctx, bbox } = plot;
    const x = plot.valToPos(mark.at, "x", true);
    if (x < bbox.left || x > bbox.left + bbox.width) return;
    const y = bbox.top - (TOP_PX - 40 - FLAG_PX * (number % 2 ? 0 : 1)) * unit;
    ctx.setLineDash(mark.kind === "done" ? [] : [3 * unit, 3 * unit]);
    ctx.beginPath();
    ctx.moveTo(x, y);
    ctx.lineTo(x, bbox.top + bbox.height);
    ctx.stroke();
    ctx.setLineDash([]);
    ctx.beginPath();
    if (mark.kind === "told") ctx.arc(x, y, 10 * unit, 0, 2 * Math.PI);
    else ctx.rect(x - 10 * unit, y - 10 * unit, 20 * unit, 20 * unit);
    ctx.fillStyle = ink("--paper");
    ctx.fill();
    ctx.stroke();
    ctx.fillStyle = ink("--ink");
    ctx.fillText(String(number), x, y);
  }

  function before(shown) {
    return (plot) => {
      const { ctx, bbox } = plot;
      const unit = devicePixelRatio;
      ctx.save();
      ctx.setLineDash([]);
      ctx.font = FONT.replace(/^[0-9]+/, (px) => px * unit);
      ctx.textAlign = "center";
      ctx.textBaseline = "middle";
      ctx.fillStyle = ctx.strokeStyle = ink("--ink");
      ctx.lineWidth = 1.5 * unit;
      phases(plot, shown, unit);
      const y = plot.valToPos(shown.rule, "y", true);
      ctx.setLineDash([10 * unit, 5 * unit]);
      ctx.strokeStyle = ink("--alarm");
      ctx.lineWidth = 2 * unit;
      ctx.beginPath();
      ctx.moveTo(bbox.left, y);
      ctx.lineTo(bbox.left + bbox.width, y);
      ctx.stroke();
      ctx.setLineDash([]);
      ctx.strokeStyle = ctx.fillStyle = ink("--ink");
      ctx.lineWidth = 1.5 * unit;
      shown.marks.forEach((mark, n) => flag(plot, mark, n + 1, unit));
      ctx.restore();
    };
  }

  // A step is level until it ends: where nothing is known after it, a moment before its end says the same again. The last
  // step ends where what is known ends, and the picture where it was asked to.
  function columns(shown) {
    const [at, most, mean, watched] = [[], [], [], []];
    const put = (moment, ...values) => [at, most, mean, watched].forEach((column, n) => column.push([moment, ...values][n]));
    shown.at.forEach((moment, n) => {
      const next = shown.at[n + 1] ?? Math.min(moment + shown.step_s, shown.to);
      put(moment, shown.most[n], shown.mean[n], shown.watched[n]);
      if (shown.most[n] !== null && (shown.most[n + 1] ?? null) === null) put(next - 1, shown.most[n]);
      if (n === shown.at.length - 1 && next < shown.to) put(next, null, null, null);
    });
    put(shown.to, null, null, null);
    return [at, most, mean, watched];
  }

  // The pointer means the step that it is in, not the one that begins nearest.
  function stepAt(plot, _series, nearest, moment) {
    const [at, , , watched] = plot.data;
    let n = nearest;
    while (n > 0 && (at[n] > moment || watched[n] === undefined)) n -= 1;
    return n;
  }

  function options(shown, width) {
    const thinned = shown.step_s > 300;
    const local = (s) => uPlot.tzDate(new Date(s * 1000), shown.zone);
    const named = (s) => shown.clock.filter(([from]) => from <= s).pop()?.[1] ?? "";
    const written = uPlot.fmtDate("{WWW} {D} {MMM} {HH}:{mm}");
    const axis = { font: FONT, stroke: ink("--ink"), grid: { stroke: ink("--shade"), width: 1 } };
    return {
      width,
      height: HEIGHT_PX,
      padding: [TOP_PX, 24, 0, 0],
      tzDate: local,
      cursor: { y: false, drag: { x: true, y: false }, dataIdx: stepAt },
      scales: { x: { time: true }, y: { range: (_plot, _low, high) => [0, Math.ceil(Math.max(high, shown.rule) * 1.2)] } },
      axes: [
        { ...axis, values: LABELS, space: 70, size: 56, label: shown.zone, labelFont: FONT },
        { ...axis, size: 48, incrs: [1, 2, 5, 10, 20, 50, 100, 200, 500] },
      ],
      series: [
        { label: "From", value: (_plot, s) => (s === null ? "—" : `${written(local(s))} ${named(s)}`) },
        {
          label: thinned ? "Fullest 5 min" : "Visits in 5 min",
          stroke: ink("--ink"),
          width: 2,
          paths: uPlot.paths.stepped({ align: 1 }),
          points: { show: false },
          value: (_plot, visits) => (visits === null ? "not known" : visits),
        },
        {
          label: thinned ? "Mean per 5 min watched" : "Estimate from the watched part",
          stroke: ink("--sky"),
          width: 2,
          dash: [6, 4],
          paths: thinned ? uPlot.paths.linear() : () => null,
          points: { show: !thinned, size: 9, fill: ink("--paper") },
          value: (_plot, visits) => (visits === null ? "—" : visits.toFixed(1)),
        },
        {
          label: "Watched",
          scale: "share",
          paths: () => null,
          points: { show: false },
          value: (_plot, share) => (share === null ? "—" : `${Math.round(100 * share)} %`),
        },
      ],
      hooks: { drawClear: [behind(shown)], draw: [before(shown)] },
    };
  }

  async function draw(figure) {
    const reply = await fetch(figure.dataset.counts);
    if (!reply.ok) return;
    const shown = await reply.json();
    const frame = figure.querySelector(".canvas");
    frame.hidden = false;
    figure.querySelector(".sheet").hidden = true;
    const plot = new uPlot(options(shown, frame.clientWidth), columns(shown), frame);
    new ResizeObserver(() => plot.setSize({ width: frame.clientWidth, height: HEIGHT_PX })).observe(frame);
  }

  function all() {
    document.querySelectorAll("figure.plot[data-counts]").forEach((figure) => draw(figure).catch(() => {}));
  }

  document.addEventListener("renewed", all);
  all();
})();
