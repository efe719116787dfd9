import type { BoardInfo } from '../prop/pins.ts';
import { Fitted, widthOf } from './fitted.tsx';
import { COLOUR_WIDTH, InsulationWithCode } from './insulation.tsx';
import { NumberedPad, Pad } from './pad.tsx';
import { WIDTH } from './picture.tsx';
import { endText, type PinKind, type Slot } from './pins.ts';
import { px } from './px.ts';
import { boardCaption, boardTitle, PIN_KINDS, purpose, useText } from './words.ts';

/** Left and right margin of a picture of the loom (px). */
export const MARGIN = 24;
const ROW = 21;
const MIDDLE = WIDTH / 2;

export interface BoardView {
  name: string;
  board: BoardInfo;
  /** The connector that carries its pins, where the prop file names one. */
  connector?: string;
  slots: readonly Slot[];
}

/** Height of the picture of a board (px). */
export function boardHeight({ slots }: BoardView): number {
  return 66 + Math.ceil(slots.length / 2) * ROW;
}

/** The pins of a board and the wires on them, over the whole width of a picture. */
export function BoardPicture({ view, y }: { view: BoardView; y: number }) {
  const { name, board, connector, slots } = view;
  const { header } = board;
  const rows = Math.ceil(slots.length / 2);
  return (
    <g>
      <rect
        class="card"
        x={MARGIN}
        y={px(y)}
        width={WIDTH - 2 * MARGIN}
        height={boardHeight(view)}
        rx={4}
      />
      <text class="head" x={MARGIN + 14} y={px(y + 24)}>
        {boardTitle(name, board.driver, connector)}
      </text>
      <text class="soft" x={MARGIN + 14} y={px(y + 41)}>
        {boardCaption(board, slots.length)}
      </text>
      <Legend slots={slots} y={y + 24} />
      <rect
        class="board"
        x={MIDDLE - 32}
        y={px(y + 48)}
        width={64}
        height={rows * ROW + 8}
        rx={3}
      />
      {slots.map((slot, i) => {
        // A header has its odd pins on the left; a chip's outputs go down one side, then the other.
        const left = header ? i % 2 === 0 : i < rows;
        const row = header ? i >> 1 : i % rows;
        return (
          <SlotPicture key={slot.number} slot={slot} y={y + 52 + row * ROW + ROW / 2} left={left} />
        );
      })}
    </g>
  );
}

/** The kinds of pads in the picture, right-aligned. */
function Legend({ slots, y }: { slots: readonly Slot[]; y: number }) {
  const there = new Set(slots.map(({ kind }) => kind));
  const kinds = (Object.keys(PIN_KINDS) as PinKind[]).filter((kind) => there.has(kind));
  let x = WIDTH - MARGIN - 14;
  const places = kinds.toReversed().map((kind) => {
    x -= widthOf(PIN_KINDS[kind]) + 26;
    return { kind, x };
  });
  return (
    <>
      {places.map(({ kind, x: left }) => (
        <g key={kind}>
          <Pad kind={kind} x={left + 6} y={y - 4} r={6} />
          <text class="soft" x={px(left + 17)} y={px(y)}>
            {PIN_KINDS[kind]}
          </text>
        </g>
      ))}
    </>
  );
}

function SlotPicture({ slot, y, left }: { slot: Slot; y: number; left: boolean }) {
  const { number, name, kind, text, use } = slot;
  const side = left ? -1 : 1;
  const base = y + 4;
  const anchor = left ? ' end' : '';
  const end = slot.ends[0];
  const more = slot.ends.length > 1 ? ` and ${slot.ends.length - 1} more` : '';
  const far = MIDDLE + side * 98;
  const textX = far + side * (COLOUR_WIDTH + 6);
  return (
    <g>
      <NumberedPad kind={kind} number={number} x={MIDDLE + side * 15} y={y} r={9} />
      <text class={`soft${anchor}`} x={MIDDLE + side * 38} y={px(base)}>
        {name ?? text}
      </text>
      {!end && name && (
        <text class={(kind === 'used' ? 'name' : 'soft') + anchor} x={far} y={px(base)}>
          {text}
        </text>
      )}
      {end && (
        <>
          <InsulationWithCode code={end.core.colour} x={left ? far - COLOUR_WIDTH : far} y={base} />
          <Fitted
            x={textX}
            y={base}
            width={left ? textX - MARGIN - 10 : WIDTH - MARGIN - 10 - textX}
            text={endText(end, purpose(end.wire) || (use ? useText(use) : '')) + more}
            style={`name${anchor}`}
          />
        </>
      )}
    </g>
  );
}
