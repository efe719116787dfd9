import { signal } from '@preact/signals';
import { useEffect, useId } from 'preact/hooks';
import {
  connectorsOfWires,
  ListByChannel,
  ListByConnector,
  ListByLabel,
  ListByPlace,
} from '../../drawings/loom-lists.tsx';
import { type FlagOrder, WireFlags } from '../../drawings/wire-flags.tsx';
import { FLAGS_CAPTION, wireCount } from '../../drawings/words.ts';
import { propName } from './store.ts';
import { answeredText, found, loom } from './wiring-data.ts';

/** What goes on paper. On screen it is hidden; the browser's own print dialogue shows it. */

const KINDS = { list: 'Loom list', flags: 'Wire flags' } as const;
const ORDERS: readonly FlagOrder[] = ['label', 'channel', 'connector', 'place'];

const kind = signal<keyof typeof KINDS>('list');
const order = signal<FlagOrder>('label');
const today = signal(date());

function date(): string {
  return new Date().toLocaleDateString('en-GB', { dateStyle: 'long' });
}

/** `all 16 wires`, or what the search left of them. */
function extent(): string {
  const count = wireCount(found.value.length);
  return answeredText.value ? `${count} matching “${answeredText.value}”` : `all ${count}`;
}

/** Whether a channel says where it sits. */
function hasPlaces(): boolean {
  return loom.value.some(({ place }) => place !== undefined);
}

/** Chooses what is printed, flags or list, and its order. */
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
              order.value = event.currentTarget.value as FlagOrder;
            }}
          >
            {ORDERS.filter((name) => name !== 'place' || hasPlaces()).map((name) => (
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
          `One flag for each connector that a wire goes to. ${FLAGS_CAPTION}`}
      </p>
    </section>
  );
}

/** What is printed: hidden on the screen, and dated when printing begins. */
export function Paper() {
  useEffect(() => {
    const onPrint = () => {
      today.value = date();
    };
    addEventListener('beforeprint', onPrint);
    return () => removeEventListener('beforeprint', onPrint);
  }, []);
  return <div class="paper">{kind.value === 'flags' ? <Flags /> : <List />}</div>;
}

function List() {
  const by = order.value;
  const head = <HeadText title={`loom list by ${by}`} />;
  if (by === 'connector')
    return <ListByConnector connectors={connectorsOfWires(found.value)} head={head} />;
  if (by === 'place') return <ListByPlace wires={found.value} head={head} />;
  return by === 'channel' ? (
    <ListByChannel wires={found.value} head={head} />
  ) : (
    <ListByLabel wires={found.value} head={head} />
  );
}

function Flags() {
  return (
    <>
      <p class="head">
        <HeadText title={`wire flags by ${order.value}`} />
      </p>
      <WireFlags wires={found.value} order={order.value} />
    </>
  );
}

function HeadText({ title }: { title: string }) {
  return (
    <>
      <b>{propName}</b> · {title} · {extent()} · {today}
    </>
  );
}
