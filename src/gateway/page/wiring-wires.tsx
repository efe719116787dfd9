import { useId } from 'preact/hooks';
import type { LoomWire } from '../../api/types.ts';
import { ColourText } from '../../drawings/insulation.tsx';
import { LABEL_COLUMNS, purpose, sizeText } from '../../drawings/words.ts';
import { KINDS } from './kinds.tsx';
import { ask, channels, commanding, condition, holding } from './store.ts';

/** The cores of a wire: role, colour, and the ends they join. */
export function Cores({ wire }: { wire: LoomWire }) {
  return (
    <ul class="cores">
      {wire.cores.map(({ role, colour, from, to }) => (
        <li key={`${role} ${from} ${to}`}>
          <span>{role}</span>
          <ColourText code={colour} />
          <span class="number">
            {from} → {to}
          </span>
        </li>
      ))}
    </ul>
  );
}

function whyNot(): string {
  if (!holding.value) return 'To identify, take control first, then wake the prop.';
  const stopped = condition.value === 'stopped' || condition.value === 'faulted';
  const first = stopped ? 'reset the stop and wake it' : 'wake it';
  return `To identify, the prop must be awake. It is ${condition.value}: ${first} first.`;
}

/** Tells why the buttons beside it wait, while they do. */
export function WhyNot({ id }: { id: string }) {
  return (
    <p id={id} class="hint">
      {commanding.value
        ? 'Identify makes the channel on the wire show itself, within every limit.'
        : whyNot()}
    </p>
  );
}

/** What the button does stands above it, before anybody presses. */
export function Identify({ channel, whyId }: { channel: string; whyId: string }) {
  const does = useId();
  const kind = channels.value[channel]?.kind;
  return (
    <div class="identify">
      <p id={does} class="hint">
        {kind && KINDS[kind].showsItself}
      </p>
      <button
        type="button"
        disabled={!commanding.value}
        aria-label={`Identify ${channel}`}
        aria-describedby={`${does} ${whyId}`}
        onClick={() => ask('channel.identify', { channel })}
      >
        Identify
      </button>
    </div>
  );
}

/**
 * Wires with their cores, and a button to identify the channel of each.
 * @param whyId the element that says why the buttons are disabled
 */
export function WireTable({ wires, whyId }: { wires: readonly LoomWire[]; whyId: string }) {
  return (
    <table class="wires">
      <thead>
        <tr>
          {LABEL_COLUMNS.slice(0, 3).map((column) => (
            <th key={column} scope="col">
              {column}
            </th>
          ))}
          <th scope="col">Cores: role, colour, from → to</th>
          <th scope="col">Identify</th>
        </tr>
      </thead>
      <tbody>
        {wires.map((wire) => (
          <tr key={`${wire.label} ${purpose(wire)}`}>
            <th scope="row">{wire.label}</th>
            <td>
              {purpose(wire)}
              {wire.place && <span class="soft"> {wire.place}</span>}
            </td>
            <td class="number">{sizeText(wire) || '–'}</td>
            <td>
              <Cores wire={wire} />
            </td>
            <td>{wire.channel && <Identify channel={wire.channel} whyId={whyId} />}</td>
          </tr>
        ))}
      </tbody>
    </table>
  );
}
