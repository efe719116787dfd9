import type { LoomWire } from '../prop/loom.ts';
import { grouped, shortEnds, sorted, splitEnd } from '../prop/loom-words.ts';
import { FLAG_MM, FLAGS_CAPTION, purpose } from './words.ts';

export type FlagOrder = 'label' | 'channel' | 'connector' | 'place';

interface Flag {
  wire: LoomWire;
  /** The wire's ends at the flag, and the other ends. */
  here: string;
  there: string;
}

/** A flag for each connector that each wire goes to. */
function flagsOf(wires: readonly LoomWire[]): Flag[] {
  return wires.flatMap((wire) => {
    const ends = wire.cores.flatMap(({ from, to }) => [
      { at: from, other: to },
      { at: to, other: from },
    ]);
    return [...grouped(ends, ({ at }) => splitEnd(at).connector).values()].map((some) => ({
      wire,
      here: shortEnds(some.map(({ at }) => at)),
      there: shortEnds(some.map(({ other }) => other)),
    }));
  });
}

const KEYS: Record<FlagOrder, (flag: Flag) => string> = {
  label: ({ wire }) => wire.label,
  channel: ({ wire }) => purpose(wire),
  connector: ({ here }) => here,
  place: ({ wire }) => wire.place ?? '~',
};

/** Flags to cut out: folded around a wire, they show the same on both sides. */
export function WireFlags({ wires, order }: { wires: readonly LoomWire[]; order: FlagOrder }) {
  return (
    <>
      <p>{FLAGS_CAPTION}</p>
      <div class="flags">
        {sorted(flagsOf(wires), KEYS[order]).map((flag) => (
          <div
            class="flag"
            key={`${flag.wire.label} ${flag.here} ${flag.there}`}
            style={{ width: `${FLAG_MM}mm` }}
          >
            <Side {...flag} />
            <Side {...flag} />
          </div>
        ))}
      </div>
    </>
  );
}

function Side({ wire, here, there }: Flag) {
  return (
    <div>
      <b>{wire.label}</b>
      <span>{purpose(wire)}</span>
      <span class="here">{here}</span>
      <span>→ {there}</span>
    </div>
  );
}
