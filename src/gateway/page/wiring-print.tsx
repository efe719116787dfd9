import { signal } from '@preact/signals';
import { useEffect, useId } from 'preact/hooks';
import type { LoomWire } from '../../api/types.ts';
import { shortEnds, sorted, splitEnd } from '../../prop/loom-words.ts';
import { wireColourName } from '../../sums/wire-colours.ts';
import { propName } from './store.ts';
import { answeredText, found, gauge, length, purpose, wireCount } from './wiring-data.ts';

/** What goes on paper. On screen it is hidden; the browser's own print dialogue shows it. */

const KINDS = { list: 'Loom list', flags: 'Wire flags' } as const;
const ORDERS = ['label', 'channel', 'connector'] as const;
type Order = (typeof ORDERS)[number];

const kind = signal<keyof typeof KINDS>('list');
const order = signal<Order>('label');
const today = signal(date());

function date(): string {
  return new Date().toLocaleDateString('en-GB', { dateStyle: 'long' });
}

/** `all 16 wires`, or what the search left of them. */
function extent(): string {
  const count = wireCount(found.value.length);
  return answeredText.value ? `${count} matching “${answeredText.value}”` : `all ${count}`;
}

export function PrintChoice() {
  const hint = useId();
  return (
    <section class="sheet" id="wiring/print">
      <h2>Print</h2>
      <div class="row">
        <fieldset class="row kinds">
          <legend>What</legend>
          {Object.entries(KINDS).map(([name, label]) => (
            <label key={name}>
              <input
                type="radio"
                name="print-kind"
                checked={kind.value === name}
                onChange={() => {
                  kind.value = name as keyof typeof KINDS;
                }}
              />
              {label}
            </label>
          ))}
        </fieldset>
        <label>
          Sorted by{' '}
          <select
            value={order.value}
            onChange={(event) => {
              order.value = event.currentTarget.value as Order;
            }}
          >
            {ORDERS.map((name) => (
              <option key={name}>{name}</option>
            ))}
          </select>
        </label>
        <button
          type="button"
          class="primary"
          disabled={found.value.length === 0}
          aria-describedby={hint}
          onClick={() => print()}
        >
          Print
        </button>
      </div>
      <p id={hint} class="hint">
        Prints {extent()}
        {answeredText.value && ': what the search found'}.{' '}
        {kind.value === 'flags' &&
          'One flag for each end of each wire. Print at 100 %: a flag is 50 mm wide and 12 mm high.'}
      </p>
    </section>
  );
}

export function Paper() {
  useEffect(() => {
    const onPrint = () => {
      today.value = date();
    };
    addEventListener('beforeprint', onPrint);
    return () => removeEventListener('beforeprint', onPrint);
  }, []);
  return (
    <div class="paper">
      {kind.value === 'flags' ? (
        <Flags />
      ) : order.value === 'connector' ? (
        <ConnectorList />
      ) : (
        <WireList />
      )}
    </div>
  );
}

/** The head of a list; in a `thead` it comes back on every page. */
function Head({ columns, title }: { columns: readonly string[]; title: string }) {
  return (
    <thead>
      <tr>
        <th colSpan={columns.length} class="head">
          <HeadText title={title} />
        </th>
      </tr>
      <tr>
        {columns.map((column) => (
          <th key={column} scope="col">
            {column}
          </th>
        ))}
      </tr>
    </thead>
  );
}

function HeadText({ title }: { title: string }) {
  return (
    <>
      <b>{propName}</b> · {title} · {extent()} · {today}
    </>
  );
}

function coreColour(code: string): string {
  return [code, wireColourName(code)].filter(Boolean).join(' ');
}

const WIRE_COLUMNS = ['Label', 'For', 'Gauge', 'Length', 'Role', 'Colour', 'From', 'To'];

function WireList() {
  const by = order.value === 'channel' ? 'channel' : 'label';
  return (
    <table>
      <Head columns={WIRE_COLUMNS} title={`loom list by ${by}`} />
      {sorted(found.value, by === 'channel' ? purpose : ({ label }) => label).map((wire) => (
        <tbody key={`${wire.label} ${purpose(wire)}`}>
          {wire.cores.map(({ role, colour, from, to }, i) => (
            <tr key={`${role} ${from} ${to}`}>
              {i === 0 && <WireCells wire={wire} />}
              <td>{role}</td>
              <td>{coreColour(colour)}</td>
              <td>{from}</td>
              <td>{to}</td>
            </tr>
          ))}
        </tbody>
      ))}
    </table>
  );
}

function WireCells({ wire }: { wire: LoomWire }) {
  const rowSpan = wire.cores.length;
  return (
    <>
      <th scope="rowgroup" rowSpan={rowSpan}>
        {wire.label}
      </th>
      <td rowSpan={rowSpan}>{purpose(wire)}</td>
      <td rowSpan={rowSpan}>{gauge(wire)}</td>
      <td rowSpan={rowSpan}>{length(wire)}</td>
    </>
  );
}

const CAVITY_COLUMNS = ['Cavity', 'Label', 'For', 'Role', 'Colour', 'Gauge', 'Other end'];

/** Connector by connector, as one stands in front of it: what is in each cavity. */
function ConnectorList() {
  const ends = found.value.flatMap((wire) =>
    wire.cores.flatMap((core) => [
      { wire, core, end: core.from, other: core.to, ...splitEnd(core.from) },
      { wire, core, end: core.to, other: core.from, ...splitEnd(core.to) },
    ]),
  );
  const connectors = new Map<string, typeof ends>();
  for (const end of sorted(ends, ({ end }) => end))
    connectors.set(end.connector, [...(connectors.get(end.connector) ?? []), end]);
  return (
    <table>
      <Head columns={CAVITY_COLUMNS} title="loom list by connector" />
      {sorted([...connectors], ([connector]) => connector).map(([connector, cavities]) => (
        <tbody key={connector}>
          <tr>
            <th scope="rowgroup" colSpan={CAVITY_COLUMNS.length} class="connector">
              {connector}
            </th>
          </tr>
          {cavities.map(({ wire, core, cavity, other }) => (
            <tr key={`${cavity} ${wire.label} ${core.role} ${other}`}>
              <th scope="row">{cavity}</th>
              <td>{wire.label}</td>
              <td>{purpose(wire)}</td>
              <td>{core.role}</td>
              <td>{coreColour(core.colour)}</td>
              <td>{gauge(wire)}</td>
              <td>{other}</td>
            </tr>
          ))}
        </tbody>
      ))}
    </table>
  );
}

/** A flag: folded along the middle it shows the same on both sides. */
function Flags() {
  const flags = found.value.flatMap((wire) => {
    const from = shortEnds(wire.cores.map((core) => core.from));
    const to = shortEnds(wire.cores.map((core) => core.to));
    return [
      { wire, from, to, at: from },
      { wire, from, to, at: to },
    ];
  });
  const keys = {
    label: ({ wire }: (typeof flags)[number]) => wire.label,
    channel: ({ wire }: (typeof flags)[number]) => purpose(wire),
    connector: ({ at }: (typeof flags)[number]) => at,
  };
  return (
    <>
      <p class="head">
        <HeadText title={`wire flags by ${order.value}`} />
      </p>
      <p>
        Cut along the frames, lay the dashed line on the cable, fold and glue. ● marks the end of
        the wire where the flag belongs.
      </p>
      <div class="flags">
        {sorted(flags, keys[order.value]).map(({ wire, from, to, at }) => (
          <div class="flag" key={`${wire.label} ${purpose(wire)} ${at}`}>
            {['front', 'back'].map((side) => (
              <div class={side} key={side}>
                <b>{wire.label}</b>
                <span>{purpose(wire)}</span>
                <small>
                  {at === from && '● '}
                  {from}
                </small>
                <small>
                  {at === to && '● '}→ {to}
                </small>
              </div>
            ))}
          </div>
        ))}
      </div>
    </>
  );
}
