import { PRINT_STYLE } from '../../drawings/loom-print.tsx';

/**
 * A4 (ISO 216, 210 x 297 mm) and Letter (8.5 x 11 in, 215.9 x 279.4 mm): the page has no size of its own, so
 * that the printer's paper decides; 180 x 240 mm fit on both. Drawings of cues lie on pages turned sideways.
 */
export const BOOK_STYLE = `${PRINT_STYLE}
body { max-width: 180mm; margin: 8mm auto; padding: 0 4mm; }
h1 { font-size: 26pt; }
h2 { font-size: 16pt; }
h3 { font-size: 12pt; margin: 5mm 0 1mm; }
ul, ol { margin: 1mm 0; padding-left: 6mm; }
li { margin: 0.8mm 0; }
dl { display: grid; grid-template-columns: max-content 1fr; gap: 0.8mm 5mm; margin: 3mm 0; }
dt { color: #5a554b; } dd { margin: 0; }
.contents { columns: 2; list-style: none; padding: 0; }
.contents a { color: inherit; text-decoration: none; }
.front figure { position: relative; width: fit-content; max-width: 100%; margin: 4mm auto; }
.front img { display: block; max-width: 100%; max-height: 120mm; }
.spot { position: absolute; transform: translate(-50%, -50%); background: #fff; border: 0.3mm solid #22201c; border-radius: 3mm; min-width: 4mm; padding: 0 0.6mm; text-align: center; font-size: 8pt; line-height: 4mm; box-sizing: border-box; }
.warn { border: 0.5mm solid #8a4b00; padding: 1mm 4mm; margin: 3mm 0; break-inside: avoid; }
.cue img { display: block; width: 100%; height: auto; max-height: 140mm; object-fit: contain; object-position: left top; }
.cue { break-inside: avoid; }
.plain th, .plain td:first-child, .plain td:nth-child(2) { overflow-wrap: break-word; }
.plain tbody { break-inside: auto; }
td ul { margin: 0; padding-left: 4mm; }
tr { break-inside: avoid; }
.plain th:last-child { text-align: left; width: auto; }
.plain.checks { margin-top: 4mm; }
.checks th:last-child { width: 8mm; text-align: right; }
.checks th:nth-child(2), .checks td:nth-child(3) { width: 38%; }
.checks td:first-child { width: 6mm; }
.compact td, .compact th { font-size: 8.5pt; }
.value { display: inline-block; min-width: 28mm; border-bottom: 0.3mm solid #22201c; }
.line { display: block; height: 9mm; border-bottom: 0.3mm solid #22201c; }
.names { display: grid; grid-template-columns: 1fr 1fr 1fr; gap: 3mm 8mm; margin-top: 4mm; break-inside: avoid; }
@page { margin: 15mm 15mm 17mm; @bottom-right { content: counter(page) ' / ' counter(pages); font: 8pt system-ui, sans-serif; } }
@page sideways { size: landscape; }
@media screen { section { overflow-x: auto; } }
@media print { body { margin: 0; padding: 0; max-width: none; } section.chapter { break-before: page; } .sideways { page: sideways; } }
`;
