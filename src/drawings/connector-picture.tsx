import { Fitted, widthOf } from './fitted.tsx';
import { COLOUR_WIDTH, InsulationWithCode } from './insulation.tsx';
import { type CavityEnd, endText } from './pins.ts';
import { px } from './px.ts';
import { PIN_KINDS, purpose } from './words.ts';

const ROW = 18;

/** One connector, seen from the front. */
export interface ConnectorView {
  name: string;
  /** What it is, in words. */
  about: string;
  /** The board whose pins it carries. */
  board?: string;
  /** In order; free ones as well if the file gives their number. */
  cavities: readonly { cavity: string; ends: readonly CavityEnd[] }[];
  /** Cavities that are joined inside the connector. */
  bridged: readonly (readonly string[])[];
}

interface Placed {
  view: ConnectorView;
  x: number;
  y: number;
  width: number;
}

/** Height of the picture of a connector (px). */
export function connectorHeight({ cavities }: ConnectorView): number {
  return 34 + cavities.reduce((sum, { ends }) => sum + Math.max(1, ends.length), 0) * ROW;
}

/** Every cavity of a connector, its contents, and the bars that join some of them. */
export function ConnectorPicture({ view, x, y, width }: Placed) {
  const { name, about, cavities, bridged } = view;
  const nameWidth = widthOf(name, true) * 1.25 + 10;
  // The bars of a terminal block are to the left of the cavities that they join.
  const lane = (bar: number) => x + 12 + bar * 8;
  const cavityX = lane(bridged.length) + (bridged.length > 0 ? 4 : 0);
  const rows: { cavity: string; ends: readonly CavityEnd[]; y: number }[] = [];
  let next = y + 34;
  for (const { cavity, ends } of cavities) {
    rows.push({ cavity, ends, y: next });
    next += Math.max(1, ends.length) * ROW;
  }
  const middles = new Map(rows.map((row) => [row.cavity, row.y + ROW / 2 - 2]));
  return (
    <g>
      <rect
        class="card"
        x={px(x)}
        y={px(y)}
        width={px(width)}
        height={connectorHeight(view)}
        rx={4}
      />
      <text class="head" x={px(x + 10)} y={px(y + 20)}>
        {name}
      </text>
      <Fitted
        x={x + 10 + nameWidth}
        y={y + 20}
        width={width - nameWidth - 20}
        text={about}
        style="soft"
      />
      {rows.map((row) => (
        <Cavity key={row.cavity} {...row} x={cavityX} left={x} right={x + width} />
      ))}
      {bridged.map((bridge, bar) => (
        <Bar
          key={bridge.join(' ')}
          x={lane(bar)}
          ys={bridge.flatMap((cavity) => middles.get(cavity) ?? [])}
        />
      ))}
    </g>
  );
}

interface CavityProps {
  cavity: string;
  ends: readonly CavityEnd[];
  x: number;
  y: number;
  /** The left edge of the whole connector. */
  left: number;
  right: number;
}

function Cavity({ cavity, ends, x, y, left, right }: CavityProps) {
  const width = Math.max(20, cavity.length * 7 + 8);
  return (
    <g>
      <line class="line" x1={px(left + 6)} y1={px(y - 3)} x2={px(right - 6)} y2={px(y - 3)} />
      <rect class="pad" x={px(x)} y={px(y - 1)} width={px(width)} height={ROW - 3} rx={2} />
      <text class="on" x={px(x + width / 2)} y={px(y + 10)}>
        {cavity}
      </text>
      {ends.length === 0 && (
        <text class="soft" x={px(x + 46)} y={px(y + 10)}>
          {PIN_KINDS.free}
        </text>
      )}
      {ends.map((end, i) => (
        <End
          key={`${end.wire.label} ${end.other}`}
          end={end}
          x={x + 46}
          y={y + 10 + i * ROW}
          right={right - 8}
        />
      ))}
    </g>
  );
}

function End({ end, x, y, right }: { end: CavityEnd; x: number; y: number; right: number }) {
  const text = endText(end, '');
  const room = right - x - COLOUR_WIDTH;
  const left = room - widthOf(text, true) - 8;
  return (
    <>
      <InsulationWithCode code={end.core.colour} x={x} y={y} />
      <Fitted x={x + COLOUR_WIDTH} y={y} width={room} text={text} style="name" />
      {left > 50 && (
        <Fitted x={right} y={y} width={left} text={purpose(end.wire)} style="soft end" />
      )}
    </>
  );
}

function Bar({ x, ys }: { x: number; ys: readonly number[] }) {
  if (ys.length < 2) return null;
  return (
    <g>
      <line class="bar" x1={x} y1={px(Math.min(...ys))} x2={x} y2={px(Math.max(...ys))} />
      {ys.map((y) => (
        <circle key={y} class="dot" cx={x} cy={px(y)} r={3} />
      ))}
    </g>
  );
}
