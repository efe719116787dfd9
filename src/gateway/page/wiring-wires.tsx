import { useId } from 'preact/hooks';
import type { LoomWire } from '../../api/types.ts';
import { SCREEN_COLOURS, singleColours, wireColourName } from '../../sums/wire-colours.ts';
import { KINDS } from './kinds.ts';
import { ask, channels, commanding, condition, holding } from './store.ts';
import { gauge, length, purpose } from './wiring-data.ts';

/** A piece of insulation; a core of two colours is striped. */
function stripes(colours: readonly string[]): string {
  const bands = colours.map((colour, i) => `${colour} ${i * 4}px ${(i + 1) * 4}px`);
  return `repeating-linear-gradient(115deg, ${bands.join(', ')})`;
}

function Colour({ code }: { code: string }) {
  const name = wireColourName(code);
  if (!name) return <span class="colour">{code}</span>;
  const colours = (singleColours(code) ?? []).map((single) => SCREEN_COLOURS[single]!);
  return (
    <span class="colour">
      <span class="swatch" style={{ background: stripes(colours) }} aria-hidden="true" />
      <b>{code}</b> {name}
    </span>
  );
}

export function Cores({ wire }: { wire: LoomWire }) {
  return (
    <ul class="cores">
      {wire.cores.map(({ role, colour, from, to }) => (
        <li key={`${role} ${from} ${to}`}>
          <span>{role}</span>
          <Colour code={colour} />
          <span class="number">
            {from} → {to}
          </span>
        </li>
      ))}
    </ul>
  );
}

function whyNot(): string {
  if (!holding.value) return 'To identify, take control first (at the top), then wake the prop.';
  const first = condition.value === 'parked' ? 'wake it' : 'bring it to live';
  return `To identify, the prop must be live. It is ${condition.value}: ${first} first.`;
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

export function WireTable({ wires, whyId }: { wires: readonly LoomWire[]; whyId: string }) {
  return (
    <table class="wires">
      <thead>
        <tr>
          <th scope="col">Label</th>
          <th scope="col">Channel or rail</th>
          <th scope="col">Gauge</th>
          <th scope="col">Length</th>
          <th scope="col">Cores: role, colour, from → to</th>
          <th scope="col">Identify</th>
        </tr>
      </thead>
      <tbody>
        {wires.map((wire) => (
          <tr key={`${wire.label} ${purpose(wire)}`}>
            <th scope="row">{wire.label}</th>
            <td>{purpose(wire)}</td>
            <td class="number">{gauge(wire) || '–'}</td>
            <td class="number">{length(wire) || '–'}</td>
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
