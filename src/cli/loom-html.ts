import { type CoreEnd, grouped, Loom, type PlacedWire } from '../prop/loom.ts';
import { shortEnds, sorted } from '../prop/loom-words.ts';
import type { Prop } from '../prop/schema.ts';
import { SCREEN_COLOURS, singleColours } from '../sums/wire-colours.ts';
import {
  type ConnectorView,
  colourText,
  connectorsOf,
  gauge,
  length,
  purpose,
} from './loom-data.ts';
import { boardsSvg } from './loom-svg.ts';
import { escaped } from './svg.ts';

/**
 * The loom for paper, A4, in one file that needs nothing else: the pins, the lists by connector, channel
 * and label with a box to tick, and flags to cut out and fold around the wires.
 */
export function loomHtml(prop: Prop): string {
  const loom = new Loom(prop);
  const views = connectorsOf(prop, loom);
  const parts = [
    `<section><h2>Pins</h2>${boardsSvg(prop, loom)}</section>`,
    `<section><h2>By connector</h2>${views.map(connectorTable).join('')}</section>`,
    `<section><h2>By channel</h2>${channelTable(loom)}</section>`,
    `<section><h2>By label</h2>${labelTable(loom)}</section>`,
    `<section class="flags"><h2>Wire flags</h2>${flags(loom)}</section>`,
  ];
  const count = `${loom.wires.length} ${loom.wires.length === 1 ? 'wire' : 'wires'}`;
  return `<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>${escaped(prop.name)}: the loom</title>
<style>${STYLE}</style>
</head>
<body>
<header>
<h1>${escaped(prop.name)}: the loom</h1>
<p>${count}, ${loom.connectors.size} connectors. Colour codes: IEC 60757. Tick <span class="box"></span> each core when you have checked it.</p>
<p class="signed">Checked by <i></i> on <i></i></p>
<p class="caution">Disconnect the power before you touch a wire. Mains is only for licensed persons, under the local code.</p>
</header>
<main>
${loom.wires.length === 0 ? '<p>The file names no wires.</p>' : parts.join('\n')}
</main>
</body>
</html>`;
}

const TICK = '<td class="tick"><span class="box"></span></td>';

function colour(code: string): string {
  const colours = (singleColours(code) ?? []).map((single) => SCREEN_COLOURS[single]!);
  const bands = colours.map((one, i) => `${one} ${i * 4}px ${(i + 1) * 4}px`);
  const swatch =
    colours.length === 0
      ? ''
      : `<span class="swatch" style="background:repeating-linear-gradient(115deg,${bands.join(',')})"></span>`;
  const [text, name] = [escaped(code), escaped(colourText(code).slice(code.length))];
  return `<td class="colour">${swatch}<b>${text}</b>${name}</td>`;
}

function cell(text: string, tag: 'td' | 'th' = 'td', rows = 1): string {
  const span = rows > 1 ? ` rowspan="${rows}"` : '';
  const scope = tag === 'th' ? ` scope="${rows > 1 ? 'rowgroup' : 'row'}"` : '';
  return `<${tag}${scope}${span}>${escaped(text)}</${tag}>`;
}

function table(columns: readonly string[], body: string): string {
  const heads = columns.map((column) => `<th scope="col">${column}</th>`).join('');
  return `<table><thead><tr>${heads}</tr></thead>${body}</table>`;
}

const DONE = '<span class="box"></span>';

function connectorTable({ name, about, cavities, bridged }: ConnectorView): string {
  const rows = cavities.map(({ cavity, ends }) => {
    if (ends.length === 0)
      return `<tr>${cell(cavity, 'th')}<td colspan="6" class="soft">free</td></tr>`;
    return ends
      .map(({ wire, core, other }, i) => {
        const first = i === 0 ? cell(cavity, 'th', ends.length) : '';
        return `<tr>${first}${cell(wire.label)}${cell(core.role)}${colour(core.colour)}${cell(other)}${cell(purpose(wire))}${TICK}</tr>`;
      })
      .join('');
  });
  const joined = bridged.map((bridge) => bridge.join(' ')).join('; ');
  const more = joined ? `<p class="soft">Joined inside: ${escaped(joined)}</p>` : '';
  const title = `<h3>${escaped(name)} <span class="soft">${escaped(about)}</span></h3>${more}`;
  const columns = ['Cavity', 'Label', 'Role', 'Colour', 'Other end', 'For', DONE];
  return `<div class="connector">${title}${table(columns, `<tbody>${rows.join('')}</tbody>`)}</div>`;
}

function channelTable(loom: Loom): string {
  const groups = sorted(grouped(loom.wires, purpose), ([name]) => name);
  const body = groups.map(([name, wires]) => {
    const cores = sorted(wires, ({ label }) => label).flatMap((wire) =>
      wire.cores.map((core) => ({ wire, core })),
    );
    const rows = cores.map(({ wire, core }, i) => {
      const first = i === 0 ? cell(name || 'no channel', 'th', cores.length) : '';
      return `<tr>${first}${cell(wire.label)}${cell(core.role)}${colour(core.colour)}${cell(core.from)}${cell(core.to)}${TICK}</tr>`;
    });
    return `<tbody>${rows.join('')}</tbody>`;
  });
  const columns = ['Channel or rail', 'Label', 'Role', 'Colour', 'From', 'To', DONE];
  return table(columns, body.join(''));
}

function labelTable(loom: Loom): string {
  const body = sorted(loom.wires, ({ label }) => label).map((wire) => {
    const rows = wire.cores.map((core, i) => {
      const first = i === 0 ? wireCells(wire) : '';
      return `<tr>${first}${cell(core.role)}${colour(core.colour)}${cell(core.from)}${cell(core.to)}${TICK}</tr>`;
    });
    return `<tbody>${rows.join('')}</tbody>`;
  });
  const columns = ['Label', 'For', 'Size', 'Role', 'Colour', 'From', 'To', DONE];
  return table(columns, body.join(''));
}

function wireCells(wire: PlacedWire): string {
  const rows = wire.cores.length;
  const size = [gauge(wire), length(wire)].filter(Boolean).join(', ');
  return cell(wire.label, 'th', rows) + cell(purpose(wire), 'td', rows) + cell(size, 'td', rows);
}

/** One flag for each connector that a wire goes to, the same on both sides when folded. */
function flags(loom: Loom): string {
  const all = sorted(loom.wires, ({ label }) => label).flatMap((wire) => {
    const ends = wire.cores.flatMap((core) => [
      { connector: connectorOf(core.from), at: core.from, other: core.to },
      { connector: connectorOf(core.to), at: core.to, other: core.from },
    ]);
    return [...grouped(ends, ({ connector }) => connector).values()].map((some) => {
      const here = shortEnds(some.map(({ at }) => at));
      const there = shortEnds(some.map(({ other }) => other));
      const side = `<b>${escaped(wire.label)}</b><span>${escaped(purpose(wire))}</span><span class="here">${escaped(here)}</span><span>→ ${escaped(there)}</span>`;
      return `<div class="flag"><div>${side}</div><div>${side}</div></div>`;
    });
  });
  return `<p>Print at 100 %: a flag is 60 mm wide. Cut along the frame, lay the dashed line on the wire, fold, glue. The framed end is where the flag belongs; the arrow tells where the wire goes.</p><div class="grid">${all.join('')}</div>`;
}

function connectorOf(end: CoreEnd['other']): string {
  return end.slice(0, end.lastIndexOf('-')) || end;
}

const STYLE = `
:root { color-scheme: light; font: 10.5pt/1.3 system-ui, sans-serif; color: #22201c; background: #fff; }
body { max-width: 190mm; margin: 8mm auto; padding: 0 4mm; }
h1 { font-size: 20pt; margin: 0 0 1mm; }
h2 { font-size: 14pt; margin: 7mm 0 2mm; border-bottom: 0.5mm solid #22201c; }
h3 { font-size: 11.5pt; margin: 0; }
p { margin: 1mm 0; }
svg { width: 100%; height: auto; }
.soft { color: #5a554b; font-weight: 400; font-size: 9pt; }
.caution { border-left: 1.2mm solid #8a4b00; padding-left: 2mm; }
.signed i { display: inline-block; width: 45mm; border-bottom: 0.3mm solid #22201c; }
.box { display: inline-block; width: 3mm; height: 3mm; border: 0.3mm solid #22201c; vertical-align: -0.4mm; }
table { border-collapse: collapse; width: 100%; font-size: 9.5pt; }
th, td { overflow-wrap: anywhere; text-align: left; vertical-align: top; padding: 0.6mm 2.5mm 0.6mm 0; border-bottom: 0.2mm solid #b5b0a5; }
thead th { border-bottom: 0.4mm solid #22201c; font-size: 8.5pt; }
thead th:last-child, .tick { text-align: right; padding-right: 1mm; width: 6mm; }
td.colour { white-space: nowrap; }
.swatch { display: inline-block; width: 5mm; height: 2.2mm; border: 0.2mm solid #5a554b; border-radius: 1mm; margin-right: 1.5mm; print-color-adjust: exact; -webkit-print-color-adjust: exact; }
.connector { break-inside: avoid; margin: 0 0 4mm; }
tbody, .flag { break-inside: avoid; }
h2, h3 { break-after: avoid; }
.grid { display: grid; grid-template-columns: repeat(auto-fill, 60mm); gap: 2.5mm; margin-top: 2mm; }
.flag { display: grid; grid-template-columns: 1fr 1fr; width: 60mm; min-height: 15mm; box-sizing: border-box; border: 0.2mm solid #22201c; overflow-wrap: anywhere; }
.flag > div { display: flex; flex-direction: column; gap: 0.3mm; padding: 0.8mm 2mm; font-size: 6.5pt; line-height: 1.15; min-width: 0; }
.flag > div:first-child { border-right: 0.2mm dashed #22201c; }
.flag > div:last-child { text-align: right; align-items: flex-end; }
.flag b { font-size: 10pt; }
.here { border: 0.2mm solid #22201c; padding: 0 0.6mm; align-self: flex-start; }
.flag > div:last-child .here { align-self: flex-end; }
@media screen and (max-width: 190mm) { section { overflow-x: auto; } }
@page { size: A4; margin: 12mm 10mm 14mm; @bottom-right { content: counter(page) " / " counter(pages); font: 8pt system-ui, sans-serif; } }
@media print { body { margin: 0; padding: 0; max-width: none; } section { break-before: page; } section:first-child { break-before: auto; } }
`;
