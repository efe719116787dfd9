import { type Signal, useSignal } from '@preact/signals';
import { useId } from 'preact/hooks';
import type { BoardInfo } from '../../api/types.ts';
import { HEADER_LAYOUT } from '../../boards/header.ts';
import { boards, loom } from './wiring-data.ts';
import { Cores, Identify, WhyNot } from './wiring-wires.tsx';

/** One place on a board where something can be plugged in. */
interface Slot {
  /** As printed on the board, or counted on it. */
  number: number;
  /** `GPIO 18`, `output 3`; absent where the slot is power or ground. */
  name?: string;
  kind: 'used' | 'free' | 'reserved' | 'power' | 'ground';
  /** What it is for, in words. */
  text: string;
  use?: string;
}

const LEGEND: Record<Slot['kind'], string> = {
  used: 'used',
  free: 'free',
  reserved: 'reserved by the board',
  power: 'power',
  ground: 'ground',
};

export function PinMaps() {
  return (
    <>
      {Object.entries(boards.value).map(([name, board]) => (
        <PinMap key={name} name={name} board={board} />
      ))}
    </>
  );
}

function PinMap({ name, board }: { name: string; board: BoardInfo }) {
  const selected = useSignal<number | undefined>(undefined);
  const onHeader = board.header;
  const slots = onHeader
    ? headerSlots(board)
    : board.pins.map((pin) => slotOf(pin.pin, 'output', pin));
  const kinds = new Set(slots.map(({ kind }) => kind));
  const slot = slots.find(({ number }) => number === selected.value);
  return (
    <section class="sheet pinmap">
      <h2>
        Pins of {name} <span class="soft">({board.driver})</span>
      </h2>
      <p class="hint">
        {onHeader
          ? 'The 40-pin header, seen from above, pin 1 at the top left. Choose a used pin to see its wire.'
          : `The ${slots.length} outputs. Choose a used one to see its wire.`}
      </p>
      <ul class="legend row" aria-label="Legend">
        {Object.entries(LEGEND).map(
          ([kind, text]) =>
            kinds.has(kind as Slot['kind']) && (
              <li key={kind}>
                <span class={`contact contact-${kind}`} /> {text}
              </li>
            ),
        )}
      </ul>
      <ol class={onHeader ? 'pins header-pins' : 'pins'}>
        {slots.map((each) => (
          <li key={each.number}>
            <SlotView slot={each} word={onHeader ? 'Pin' : 'Output'} selected={selected} />
          </li>
        ))}
      </ol>
      <Detail slot={slot} />
    </section>
  );
}

function headerSlots(board: BoardInfo): Slot[] {
  return HEADER_LAYOUT.map((place, i) => {
    const number = i + 1;
    if ('power' in place) {
      const kind = place.power === 'ground' ? 'ground' : 'power';
      return { number, kind, text: place.power };
    }
    return slotOf(number, 'GPIO', board.pins.find(({ pin }) => pin === place.gpio)!);
  });
}

function slotOf(number: number, word: string, pin: BoardInfo['pins'][number]): Slot {
  const { use, reserved } = pin;
  const name = `${word} ${pin.pin}`;
  if (use) {
    const clash = reserved ? `; the board keeps it for ${reserved}` : '';
    return { number, name, use, kind: 'used', text: `${useText(use)}${clash}` };
  }
  if (reserved) return { number, name, kind: 'reserved', text: `reserved: ${reserved}` };
  return { number, name, kind: 'free', text: 'free' };
}

function useText(use: string): string {
  return use === 'stopInput' ? 'stop input' : use;
}

interface SlotProps {
  slot: Slot;
  word: string;
  selected: Signal<number | undefined>;
}

function SlotView({ slot, word, selected }: SlotProps) {
  const { number, name, kind, text } = slot;
  const content = (
    <>
      <span class={`contact contact-${kind}`}>
        <span class="unseen">{word} </span>
        {number}
      </span>
      <span class="what">
        <span>{kind === 'used' ? <BreakAtDot text={text} /> : text}</span>
        {name && word === 'Pin' && <small class="soft">{name}</small>}
      </span>
    </>
  );
  if (kind !== 'used') return <div class="slot">{content}</div>;
  const pressed = selected.value === number;
  return (
    <button
      type="button"
      class="slot"
      aria-pressed={pressed}
      onClick={() => {
        selected.value = pressed ? undefined : number;
      }}
    >
      {content}
    </button>
  );
}

/** `eye_left.green` may go on two lines where there is no room, but not in the middle of a word. */
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

/** The wire on the chosen pin; it stays in sight while the picture scrolls. */
function Detail({ slot }: { slot: Slot | undefined }) {
  const why = useId();
  const channel = slot?.use?.split('.')[0];
  const wire = loom.value.find((each) => each.channel === channel);
  return (
    <div class={slot ? 'detail' : ''}>
      <p role="status">{slot && summary(slot, wire?.label)}</p>
      {wire?.channel && (
        <>
          <Cores wire={wire} />
          <WhyNot id={why} />
          <Identify channel={wire.channel} whyId={why} />
        </>
      )}
    </div>
  );
}

function summary({ number, name, text, use }: Slot, label: string | undefined): string {
  const place = name?.startsWith('GPIO') ? `Pin ${number}, ${name}` : `Output ${number}`;
  const wire = label ? `wire ${label}` : 'no wire in the prop file';
  return `${place}: ${text}, ${use === 'stopInput' ? 'the stop button' : wire}.`;
}
