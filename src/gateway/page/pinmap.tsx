import { type Signal, useSignal } from '@preact/signals';
import type { ComponentChildren } from 'preact';
import { useId } from 'preact/hooks';
import type { BoardInfo } from '../../api/types.ts';
import { PinMap } from '../../drawings/pin-map.tsx';
import { type Slot, slotsOf } from '../../drawings/pins.ts';
import { boardTitle } from '../../drawings/words.ts';
import { boards, loom } from './wiring-data.ts';
import { Cores, Identify, WhyNot } from './wiring-wires.tsx';

/** The pin map of every board. */
export function PinMaps() {
  return (
    <>
      {Object.entries(boards.value).map(([name, board]) => (
        <Board key={name} name={name} board={board} />
      ))}
    </>
  );
}

function Board({ name, board }: { name: string; board: BoardInfo }) {
  const selected = useSignal<number | undefined>(undefined);
  const slots = slotsOf(board);
  // One that only measures, and a sound card, have no pins to draw.
  if (slots.length === 0) return null;
  return (
    <section class="sheet pinmap">
      <h2>{boardTitle(name, board.driver)}</h2>
      <PinMap
        board={board}
        slots={slots}
        hint={`Choose a used ${board.header ? 'pin' : 'output'} to see its wire.`}
        around={(slot, content) =>
          slot.kind === 'used' && (
            <Choice slot={slot} selected={selected}>
              {content}
            </Choice>
          )
        }
      />
      <Detail slot={slots.find(({ number }) => number === selected.value)} />
    </section>
  );
}

interface ChoiceProps {
  slot: Slot;
  selected: Signal<number | undefined>;
  children: ComponentChildren;
}

function Choice({ slot: { number }, selected, children }: ChoiceProps) {
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
      {children}
    </button>
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
