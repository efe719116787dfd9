import {
  ListByChannel,
  ListByConnector,
  ListByLabel,
  ListByPlace,
  ListOfParts,
} from './loom-lists.tsx';
import type { LoomView } from './loom-picture.tsx';
import { PinMap } from './pin-map.tsx';
import { WireFlags } from './wire-flags.tsx';
import { boardTitle, loomCaption, PARTS_TITLE } from './words.ts';

/**
 * The style of what is printed: lists, pins, flags. Without quotation marks, which would be escaped: HTML does
 * not decode entities in a style.
 */
export const PRINT_STYLE = `
:root { color-scheme: light; font: 10.5pt/1.3 system-ui, sans-serif; color: #22201c; background: #fff; }
h1 { font-size: 20pt; margin: 0 0 1mm; }
h2 { font-size: 14pt; margin: 7mm 0 2mm; border-bottom: 0.5mm solid #22201c; }
h3 { font-size: 11.5pt; margin: 0; }
p { margin: 1mm 0; }
.soft, .hint { color: #5a554b; font-weight: 400; font-size: 9pt; }
.unseen { position: absolute; width: 1px; height: 1px; overflow: hidden; clip-path: inset(50%); }
.caution { border-left: 1.2mm solid #8a4b00; padding-left: 2mm; }
.signed i { display: inline-block; width: 45mm; border-bottom: 0.3mm solid #22201c; }
.box { display: inline-block; width: 3mm; height: 3mm; border: 0.3mm solid #22201c; vertical-align: -0.4mm; }
table { border-collapse: collapse; width: 100%; font-size: 9.5pt; }
th, td { overflow-wrap: anywhere; text-align: left; vertical-align: top; padding: 0.6mm 2.5mm 0.6mm 0; border-bottom: 0.2mm solid #b5b0a5; }
thead th { border-bottom: 0.4mm solid #22201c; font-size: 8.5pt; }
thead th:last-child, .tick { text-align: right; padding-right: 1mm; width: 6mm; }
th.connector { font-size: 11.5pt; padding-top: 4mm; border-bottom: 0.4mm solid #22201c; }
table .colour { white-space: nowrap; }
.swatch { width: 5mm; height: 2.3mm; margin-right: 0.5mm; vertical-align: -0.1mm; }
.insulation { stroke: #5a554b; stroke-width: 0.8; }
.board { break-inside: avoid; margin-bottom: 5mm; }
.legend, .pins { list-style: none; margin: 1.5mm 0; padding: 0; }
.legend { display: flex; flex-wrap: wrap; gap: 1mm 4mm; font-size: 9pt; }
.legend .contact { width: 3.5mm; height: 3.5mm; vertical-align: -0.7mm; }
.pins { display: grid; grid-template-columns: 1fr 1fr; column-gap: 2mm; font-size: 8.5pt; }
.slot { display: flex; align-items: center; gap: 2mm; min-height: 6.4mm; height: 100%; }
.slot .contact { flex: none; width: 6mm; height: 6mm; }
.what { display: flex; flex-wrap: wrap-reverse; flex-direction: row-reverse; justify-content: flex-end; align-items: baseline; gap: 0 2mm; overflow-wrap: anywhere; }
.what small { min-width: 13mm; font-size: 8pt; }
.header-pins li:nth-child(odd) .slot { flex-direction: row-reverse; text-align: right; }
.header-pins li:nth-child(odd) .what { flex-direction: row; }
.pad { fill: #fff; stroke: #5a554b; stroke-width: 1.5; }
.used { fill: #0b6172; stroke: #0b6172; }
.reserved { stroke: #8a4b00; stroke-dasharray: 3 2; }
.power { stroke: #22201c; stroke-width: 3; }
.ground { fill: #22201c; stroke: #22201c; }
.on { font-size: 10px; font-weight: 600; text-anchor: middle; fill: #22201c; }
.on.light { fill: #fff; }
tbody, .flag { break-inside: avoid; }
h2, h3 { break-after: avoid; }
.flags { display: flex; flex-wrap: wrap; gap: 2.5mm; margin-top: 2mm; }
.flag { display: grid; grid-template-columns: 1fr 1fr; min-height: 15mm; box-sizing: border-box; border: 0.2mm solid #22201c; overflow-wrap: anywhere; }
.flag > div { display: flex; flex-direction: column; gap: 0.3mm; padding: 0.8mm 2mm; font-size: 6.5pt; line-height: 1.15; min-width: 0; }
.flag > div:first-child { border-right: 0.2mm dashed #22201c; }
.flag > div:last-child { text-align: right; align-items: flex-end; }
.flag b { font-size: 10pt; }
.here { border: 0.2mm solid #22201c; padding: 0 0.6mm; align-self: flex-start; }
.flag > div:last-child .here { align-self: flex-end; }
`;

const PAGE_STYLE = `
body { max-width: 190mm; margin: 8mm auto; padding: 0 4mm; }
@media screen and (max-width: 190mm) { section { overflow-x: auto; } }
@page { size: A4; margin: 12mm 10mm 14mm; @bottom-right { content: counter(page) ' / ' counter(pages); font: 8pt system-ui, sans-serif; } }
@media print { body { margin: 0; padding: 0; max-width: none; } section { break-before: page; } section:first-child { break-before: auto; } }
`;

/**
 * The loom for A4 paper, in one file that needs no others: the pins, the lists by connector, channel and
 * label with tick boxes, and flags to cut out and fold around the wires.
 */
export function LoomPrint({ name, wires, boards, connectors, parts }: LoomView) {
  return (
    <html lang="en">
      <head>
        <meta charset="utf-8" />
        <meta name="viewport" content="width=device-width, initial-scale=1" />
        <title>{`${name}: the loom`}</title>
        <style>{PRINT_STYLE + PAGE_STYLE}</style>
      </head>
      <body>
        <header>
          <h1>{name}: the loom</h1>
          <p>
            {loomCaption(wires.length, connectors.length)} Tick <span class="box" /> each core when
            you have checked it.
          </p>
          <p class="signed">
            Checked by <i /> on <i />
          </p>
          <p class="caution">
            Disconnect the power before you touch a wire. Mains is only for licensed persons, under
            the local code.
          </p>
        </header>
        <main>
          {wires.length === 0 ? (
            <p>The file names no wires.</p>
          ) : (
            <Sections wires={wires} boards={boards} connectors={connectors} parts={parts} />
          )}
        </main>
      </body>
    </html>
  );
}

function Sections({ wires, boards, connectors, parts }: Omit<LoomView, 'name'>) {
  return (
    <>
      <section>
        <h2>Pins</h2>
        {boards.map(({ name, board, connector, slots }) => (
          <div class="board" key={name}>
            <h3>{boardTitle(name, board.driver, connector)}</h3>
            <PinMap board={board} slots={slots} />
          </div>
        ))}
      </section>
      <section>
        <h2>By connector</h2>
        <ListByConnector connectors={connectors} />
      </section>
      <section>
        <h2>By channel</h2>
        <ListByChannel wires={wires} />
      </section>
      {wires.some(({ place }) => place !== undefined) && (
        <section>
          <h2>By place</h2>
          <ListByPlace wires={wires} />
        </section>
      )}
      <section>
        <h2>By label</h2>
        <ListByLabel wires={wires} />
      </section>
      {parts.length > 0 && (
        <section>
          <h2>{PARTS_TITLE}</h2>
          <ListOfParts parts={parts} />
        </section>
      )}
      <section>
        <h2>Wire flags</h2>
        <WireFlags wires={wires} order="label" />
      </section>
    </>
  );
}
