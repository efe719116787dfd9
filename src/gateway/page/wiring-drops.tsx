import { signal, useSignalEffect } from '@preact/signals';
import type { Result } from '../../api/methods.ts';
import { linkState } from './link.ts';
import { ask, version } from './store.ts';

const sums = signal<Result<'budget.read'> | undefined>(undefined);

/** A channel loses much from this share of its rail's voltage on, as in `sinew check`. */
const MUCH = 0.05;

/** What arrives at each channel, by the wires of the prop file. */
export function Drops() {
  useSignalEffect(() => {
    if (linkState.value !== 'open' || !version.value) return;
    void ask('budget.read', {}).then((answer) => {
      if (answer) sums.value = answer;
    });
  });
  const known = sums.value?.channels.filter(({ dropV }) => dropV !== undefined) ?? [];
  return (
    <section class="sheet drops" id="wiring/volts">
      <h2>Voltage at each channel</h2>
      {known.length === 0 ? (
        <p class="hint">
          {sums.value
            ? 'The prop file names no terminals of a supply, or no lengths and sizes of wires.'
            : 'Working it out…'}
        </p>
      ) : (
        <DropTable channels={known} />
      )}
      <Findings />
    </section>
  );
}

function DropTable({ channels }: { channels: Result<'budget.read'>['channels'] }) {
  return (
    <>
      <table>
        <thead>
          <tr>
            <th scope="col">Channel</th>
            <th scope="col">Moving or on</th>
            <th scope="col">Lost</th>
            <th scope="col">Stalled</th>
          </tr>
        </thead>
        <tbody>
          {channels.map(({ name, rail, movingV, dropV, dropShare, stallV }) => (
            <tr key={name}>
              <th scope="row">
                <Breakable text={name} /> <span class="soft">{rail}</span>
              </th>
              <td class="number">{volts(movingV)}</td>
              <td class="number">
                {volts(dropV)}{' '}
                <span class="share">
                  {(100 * dropShare!).toFixed(1)} %{dropShare! > MUCH && ', much'}
                </span>
              </td>
              <td class="number">{stallV === movingV ? '–' : volts(stallV)}</td>
            </tr>
          ))}
        </tbody>
      </table>
      <p class="hint">
        Worked out from the prop file, with copper at 20 °C: at the channel, through every wire that
        it shares, while others move as the rail allows. Measure before you trust it.
      </p>
    </>
  );
}

/** A name that may go on in the next line after an underscore. */
function Breakable({ text }: { text: string }) {
  return text.split(/(?<=_)/).map((part, i) => [i > 0 && <wbr />, part]);
}

function Findings() {
  const findings = sums.value?.findings ?? [];
  if (findings.length === 0) return null;
  return (
    <ul class="findings">
      {findings.map(({ line, wrong, right }) => (
        <li key={`${line} ${wrong}`} class="caution">
          {wrong}; {right} (line {line} of the prop file).
        </li>
      ))}
    </ul>
  );
}

function volts(value: number | undefined): string {
  return value === undefined ? '–' : `${value.toFixed(2)} V`;
}
