import type { ComponentChildren } from 'preact';
import type { BoardView } from './board-picture.tsx';
import { Swatch } from './insulation.tsx';
import { NumberedPad, Pad } from './pad.tsx';
import { type CavityEnd, endText, type PinKind, type Slot } from './pins.ts';
import { boardCaption, PIN_KINDS, purpose, useText } from './words.ts';

interface PinMapProps extends Pick<BoardView, 'board' | 'slots'> {
  /** Goes after the caption. */
  hint?: string;
  /** Wraps a slot in something that can be pressed; undefined for a slot that cannot. */
  around?: (slot: Slot, content: ComponentChildren) => ComponentChildren;
}

/** The pins of a board as text that wraps: what each is for, and its wires. */
export function PinMap({ board, slots, hint, around }: PinMapProps) {
  const { header } = board;
  return (
    <>
      <p class="hint">
        {boardCaption(board, slots.length)}
        {hint && ` ${hint}`}
      </p>
      <PinLegend slots={slots} />
      <ol class={header ? 'pins header-pins' : 'pins'}>
        {slots.map((slot) => {
          const content = <SlotText slot={slot} word={header ? 'Pin' : 'Output'} />;
          return <li key={slot.number}>{around?.(slot, content) || plain(content)}</li>;
        })}
      </ol>
    </>
  );
}

function plain(content: ComponentChildren) {
  return <div class="slot">{content}</div>;
}

/** The meaning of the pads' shapes, for those that occur. */
function PinLegend({ slots }: { slots: readonly Slot[] }) {
  const there = new Set(slots.map(({ kind }) => kind));
  const kinds = (Object.keys(PIN_KINDS) as PinKind[]).filter((kind) => there.has(kind));
  return (
    <ul class="legend" aria-label="Legend">
      {kinds.map((kind) => (
        <li key={kind}>
          <svg class="contact" viewBox="0 0 22 22" aria-hidden="true">
            <Pad kind={kind} x={11} y={11} r={9} />
          </svg>{' '}
          {PIN_KINDS[kind]}
        </li>
      ))}
    </ul>
  );
}

function SlotText({ slot, word }: { slot: Slot; word: string }) {
  const { number, kind, text, use, ends } = slot;
  // An output's number is its name.
  const name = word === 'Pin' ? slot.name : undefined;
  return (
    <>
      <span class="unseen">
        {word} {number}:{' '}
      </span>
      <svg class="contact" viewBox="0 0 22 22" aria-hidden="true">
        <NumberedPad kind={kind} number={number} x={11} y={11} r={9} />
      </svg>
      <span class="what">
        {ends.map((end) => (
          <EndText key={`${end.wire.label} ${end.other}`} end={end} use={use} />
        ))}
        {ends.length === 0 && <span>{kind === 'used' ? <BreakAtDot text={text} /> : text}</span>}
        {name && <small class="soft">{name}</small>}
        {ends.length > 0 && slot.name === undefined && <small class="soft">{text}</small>}
      </span>
    </>
  );
}

function EndText({ end, use }: { end: CavityEnd; use: string | undefined }) {
  return (
    <span>
      <Swatch code={end.core.colour} /> <b>{end.core.colour}</b>{' '}
      {endText(end, purpose(end.wire) || (use ? useText(use) : ''))}
    </span>
  );
}

/** Lets `eye_left.green` break after the dot, but not within a word. */
function BreakAtDot({ text }: { text: string }) {
  const end = text.indexOf('.') + 1;
  return (
    <>
      {text.slice(0, end)}
      <wbr />
      {text.slice(end)}
    </>
  );
}
