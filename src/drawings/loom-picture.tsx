import type { LoomWire } from '../prop/loom.ts';
import type { MeasuringPart } from '../prop/measuring-path.ts';
import { BoardPicture, type BoardView, boardHeight, MARGIN } from './board-picture.tsx';
import { ConnectorPicture, type ConnectorView, connectorHeight } from './connector-picture.tsx';
import { Fitted } from './fitted.tsx';
import { Picture, WIDTH } from './picture.tsx';
import { px } from './px.ts';
import { loomCaption, PARTS_TITLE, partText } from './words.ts';

const COLUMNS = 3;
const PART_ROW = 18;
const GUTTER = 18;
const CARD = (WIDTH - 2 * MARGIN - (COLUMNS - 1) * GUTTER) / COLUMNS;

/** On white, for a printer, as plain properties for viewers that do not support variables. */
const STYLE = `
text { font: 12px system-ui, sans-serif; fill: #22201c; }
.title { font-size: 22px; font-weight: 650; }
.head { font-size: 15px; font-weight: 650; }
.name { font-weight: 600; }
.soft { font-size: 11px; fill: #5a554b; }
.code { font-size: 11px; font-weight: 600; }
.paper { fill: #ffffff; }
.card { fill: #fffdf8; stroke: #8a857a; }
.board { fill: #f4f1ea; stroke: #8a857a; }
.line { stroke: #ddd7ca; }
.bar { stroke: #22201c; stroke-width: 3; stroke-linecap: round; }
.dot { fill: #22201c; }
.pad { fill: #ffffff; stroke: #5a554b; stroke-width: 1.5; }
.used { fill: #0b6172; stroke: #0b6172; }
.reserved { stroke: #8a4b00; stroke-dasharray: 3 2; }
.power { stroke: #22201c; stroke-width: 3; }
.ground { fill: #22201c; stroke: #22201c; }
.on { font-size: 10px; font-weight: 600; text-anchor: middle; }
.light { fill: #ffffff; }
.insulation { stroke: #5a554b; stroke-width: 0.8; }
.end { text-anchor: end; }
`;

/** Everything in the drawings and lists of a loom. */
export interface LoomView {
  /** The prop's name. */
  name: string;
  wires: readonly LoomWire[];
  boards: readonly BoardView[];
  connectors: readonly ConnectorView[];
  /** Shunts and dividers. */
  parts: readonly MeasuringPart[];
}

/** The whole loom as a poster: the pins of every board, then every other connector with its cavities. */
export function LoomPicture({ name, wires, boards, connectors, parts }: LoomView) {
  let y = 76;
  const placedBoards = boards.map((view) => {
    const top = y;
    y += boardHeight(view) + GUTTER;
    return { view, y: top };
  });
  // Each card goes to the shortest column.
  const columns = Array.from({ length: COLUMNS }, () => y);
  const cards = connectors
    .filter(({ board }) => board === undefined)
    .map((view) => {
      const at = columns.indexOf(Math.min(...columns));
      const top = columns[at]!;
      columns[at] = top + connectorHeight(view) + GUTTER;
      return { view, x: MARGIN + at * (CARD + GUTTER), y: top };
    });
  const partsY = Math.max(...columns);
  const partsHeight = parts.length > 0 ? 34 + parts.length * PART_ROW + GUTTER : 0;
  return (
    <Picture
      title={`${name}: the loom`}
      desc={`The pins of ${boards.length} boards and the cavities of ${connectors.length} connectors, with every wire.`}
      height={partsY + partsHeight - GUTTER + MARGIN}
      style={STYLE}
    >
      <text class="title" x={MARGIN} y={40}>
        {name}
      </text>
      <text class="soft" x={MARGIN} y={60}>
        The loom: {loomCaption(wires.length, connectors.length)}
      </text>
      {placedBoards.map((placed) => (
        <BoardPicture key={placed.view.name} {...placed} />
      ))}
      {cards.map((placed) => (
        <ConnectorPicture key={placed.view.name} {...placed} width={CARD} />
      ))}
      {parts.length > 0 && (
        <g>
          <rect
            class="card"
            x={px(MARGIN)}
            y={px(partsY)}
            width={px(WIDTH - 2 * MARGIN)}
            height={px(partsHeight - GUTTER)}
            rx={4}
          />
          <text class="head" x={px(MARGIN + 10)} y={px(partsY + 20)}>
            {PARTS_TITLE}
          </text>
          {parts.map((part, i) => (
            <Fitted
              key={`${part.sense} ${part.from}`}
              x={MARGIN + 10}
              y={partsY + 42 + i * PART_ROW}
              width={WIDTH - 2 * MARGIN - 20}
              text={partText(part)}
              style="name"
            />
          ))}
        </g>
      )}
    </Picture>
  );
}
