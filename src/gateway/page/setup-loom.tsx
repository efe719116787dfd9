import './setup-loom.css';
import { signal, useSignalEffect } from '@preact/signals';
import { useEffect, useId, useRef } from 'preact/hooks';
import type { Result } from '../../api/methods.ts';
import { wireCount } from '../../drawings/words.ts';
import { grouped } from '../../prop/loom-words.ts';
import { Act } from './act.tsx';
import { linkState } from './link.ts';
import { FIRST_CONTROL } from './main-button.tsx';
import { Additions, checkLines, Listed } from './setup-lists.tsx';
import { asNumber } from './setup-new-draft.ts';
import { ask, channels, holding, propName, version, write } from './store.ts';
import { Tick } from './tick.tsx';

/** The wiring that is missing, as additions to review, and what to buy. */

type Loom = Result<'proposal.loom'>;
type Addition = Loom['added'][number];

const loom = signal<Loom | undefined>(undefined);
const shopping = signal<Result<'proposal.shopping'> | undefined>(undefined);
/** What the maker says about it: lengths as typed, and what is left out. */
const usualLength = signal('');
const lengths = signal<Record<string, string>>({});
const leftOut = signal<ReadonlySet<string>>(new Set());
const working = signal(false);
const wrongLength = signal('');
const done = signal('');

/** Additions in one call: a frame holds 64 KiB. */
const EDITS = 200;
const TYPING_PAUSE_MS = 400;
const LONGEST_M = 20;

/** Metres as typed; undefined for nothing; what is wrong is said. */
function metres(text: string, who: string): number | undefined {
  if (text.trim() === '') return undefined;
  const value = asNumber(text);
  if (typeof value === 'number' && value > 0 && value <= LONGEST_M) return value;
  wrongLength.value = `${who}: ${text} is not a length; give metres, above 0 and up to ${LONGEST_M}.`;
  return undefined;
}

async function load(): Promise<void> {
  wrongLength.value = '';
  const known = channels.peek();
  const all = metres(usualLength.peek(), 'All cables');
  const own = Object.entries(lengths.peek()).flatMap(([name, text]) => {
    const value = Object.hasOwn(known, name) ? metres(text, name) : undefined;
    return value === undefined ? [] : [[name, value] as const];
  });
  working.value = true;
  const answer = await ask('proposal.loom', {
    ...(all !== undefined && { lengthM: all }),
    lengthsM: Object.fromEntries(own),
    leaveOut: [...leftOut.peek()],
  });
  working.value = false;
  if (answer) loom.value = answer;
}

async function loadShopping(): Promise<void> {
  const answer = await ask('proposal.shopping', {});
  if (answer) shopping.value = answer;
}

/** Adds all that is proposed, in parts where it is much. */
async function add(): Promise<void> {
  const now = loom.peek();
  if (!now || now.edits.length === 0) return;
  working.value = true;
  let { version: at } = now;
  let pending = false;
  for (let from = 0; from < now.edits.length; from += EDITS) {
    const edits = now.edits.slice(from, from + EDITS) as { path: (string | number)[] }[];
    const result = await write('the wiring', 'prop.apply', { edits, version: at });
    if (!result) {
      working.value = false;
      await load();
      return;
    }
    ({ version: at, pending } = result);
  }
  working.value = false;
  done.value = pending
    ? 'Written. It waits until the prop is parked.'
    : `${now.added.length} additions are in the prop file.`;
  await Promise.all([load(), loadShopping()]);
}

/** Proposed wiring, cable lengths and the shopping list. */
export function LoomSection() {
  useSignalEffect(() => {
    if (linkState.value !== 'open' || !version.value) return;
    void load();
    void loadShopping();
  });
  return (
    <div class="loom-section">
      <p class="caution">
        Wiring is done with the power off. These are calculations, not a permit: check them against
        what you have, and fit the switch that cuts the power first. Mains is for licensed persons.
      </p>
      <Proposed />
      <Shopping />
      <ShoppingPaper />
    </div>
  );
}

function Proposed() {
  const now = loom.value;
  const why = useId();
  if (!now)
    return (
      <section class="sheet">
        <h2>What the wiring lacks</h2>
        <p role="status">Working it out.</p>
      </section>
    );
  const { added, left, findings, edits } = now;
  const reason = !holding.value ? FIRST_CONTROL : working.value ? 'It is being worked out.' : '';
  return (
    <section class="sheet">
      <h2>What the wiring lacks</h2>
      <p role="status" class="count">
        {done.value}{' '}
        {added.length === 0
          ? leftOut.value.size > 0
            ? 'Nothing else is missing that can be proposed.'
            : 'Nothing is missing that can be proposed.'
          : `${added.length} additions. What the file has stays as it is.`}
      </p>
      <Lengths />
      <Groups added={added} />
      {edits.length > 0 && (
        <p class="row">
          <Act class="primary" can={reason === ''} aria-describedby={why} onAct={() => void add()}>
            {`Add all ${added.length} to the prop file`}
          </Act>
          <span class="hint" id={why}>
            {reason || 'It can be put back from the history of the file. Nothing moves.'}
          </span>
        </p>
      )}
      <Listed title="Yours to decide" items={left} />
      {edits.length > 0 && (
        <Listed title="What the check says, once they are added" items={checkLines(findings)} />
      )}
      <p class="row">
        <a class="button" href="#wiring/print">
          Print loom list and wire flags
        </a>
        <a class="button" href="#wiring/find">
          Find a wire
        </a>
      </p>
    </section>
  );
}

/** Channels that are proposed a wire, or were left out. */
function unwired(): string[] {
  const now = loom.value;
  const names = new Set(
    (now?.added ?? []).flatMap(({ for: { kind, name } }) => (kind === 'channel' ? name : [])),
  );
  for (const name of leftOut.value) if (Object.hasOwn(channels.value, name)) names.add(name);
  return Object.keys(channels.value).filter((name) => names.has(name));
}

function Lengths() {
  const timer = useRef(0);
  useEffect(() => () => clearTimeout(timer.current), []);
  const later = () => {
    clearTimeout(timer.current);
    timer.current = window.setTimeout(() => void load(), TYPING_PAUSE_MS);
  };
  const names = unwired();
  if (names.length === 0) return null;
  return (
    <details class="review-group">
      <summary>Cable lengths</summary>
      <div class="new-fields">
        <label class="new-field">
          <span>All cables (m)</span>
          <input
            value={usualLength.value}
            placeholder="0.5"
            inputMode="decimal"
            autocomplete="off"
            onInput={(event) => {
              usualLength.value = event.currentTarget.value;
              later();
            }}
          />
        </label>
        {names.map((name) => (
          <label key={name} class="new-field">
            <span>{name} (m)</span>
            <input
              value={lengths.value[name] ?? ''}
              placeholder={usualLength.value || '0.5'}
              inputMode="decimal"
              autocomplete="off"
              onInput={(event) => {
                lengths.value = { ...lengths.value, [name]: event.currentTarget.value };
                later();
              }}
            />
          </label>
        ))}
      </div>
      <p role="alert" class="review-wrong">
        {wrongLength.value}
      </p>
    </details>
  );
}

const KINDS: Record<Addition['for']['kind'], string> = {
  board: 'Board',
  rail: 'Supply, fuse and blocks of',
  contact: 'Contact',
  channel: '',
};

/** What is added, by what it is for; channels of one place stand together. */
function Groups({ added }: { added: readonly Addition[] }) {
  const groups = grouped(added, ({ for: { kind, name } }) => `${kind} ${name}`);
  const skipped = [...leftOut.value].filter(
    (name) => !groups.has(`channel ${name}`) && !groups.has(`contact ${name}`),
  );
  const placed = grouped(groups, ([, [first]]) =>
    first!.for.kind === 'channel' ? (channels.value[first!.for.name]?.place ?? '') : '',
  );
  return (
    <>
      {[...placed].map(([place, some]) => (
        <section key={place} class="loom-place" aria-label={place || 'No place'}>
          {place && <h3>To {place}: these run together</h3>}
          {some.map(([key, additions]) => (
            <Group key={key} additions={additions} />
          ))}
        </section>
      ))}
      {skipped.map((name) => (
        <p key={name} class="loom-skipped">
          <Wired name={name} wired={false} />
        </p>
      ))}
    </>
  );
}

function Group({ additions }: { additions: readonly Addition[] }) {
  const { kind, name } = additions[0]!.for;
  const optional = kind === 'channel' || kind === 'contact';
  const wires = additions.filter(({ what }) => /^W\d+,/.test(what)).length;
  return (
    <div class="loom-group">
      {optional && <Wired name={name} wired />}
      <details class="review-group">
        <summary>
          {!optional && <b>{`${KINDS[kind]} ${name}: `}</b>}
          <span class="soft">
            {[
              wires > 0 && wireCount(wires),
              additions.length > wires &&
                `${additions.length - wires} other ${additions.length - wires === 1 ? 'part' : 'parts'}`,
            ]
              .filter(Boolean)
              .join(', ')}
          </span>
        </summary>
        <Additions of={additions} />
      </details>
    </div>
  );
}

/** Whether a channel or a contact gets its wires. */
function Wired({ name, wired }: { name: string; wired: boolean }) {
  return (
    <Tick
      checked={wired}
      onTick={(checked) => {
        const next = new Set(leftOut.value);
        if (checked) next.delete(name);
        else next.add(name);
        leftOut.value = next;
        done.value = '';
        void load();
      }}
    >
      {name}
      {!wired && ', left out'}
    </Tick>
  );
}

// --- what to buy ------------------------------------------------------------------------------------

function Shopping() {
  const list = shopping.value;
  return (
    <section class="sheet" id="shopping">
      <h2>Shopping list</h2>
      {!list ? (
        <p role="status">Working it out.</p>
      ) : (
        <>
          <p class="hint">
            Of what is in the prop file now. Metres have a tenth to spare. Parts are classes, not
            products; gauges and fuses are calculations, not a permit.
          </p>
          <p class="row">
            <a
              class="button"
              download={`${slug(propName.value)}-shopping.csv`}
              href={`data:text/csv;charset=utf-8,${encodeURIComponent(`${list.csv}\r\n`)}`}
            >
              Save as a table (CSV)
            </a>
            <button type="button" onClick={() => print()}>
              Print the list
            </button>
          </p>
          <div class="shopping-scroll">
            <ShoppingTable items={list.items} />
          </div>
        </>
      )}
    </section>
  );
}

function ShoppingTable({ items }: { items: Result<'proposal.shopping'>['items'] }) {
  return (
    <table class="list shopping">
      <thead>
        <tr>
          <th scope="col">Quantity</th>
          <th scope="col">What</th>
          <th scope="col">Size</th>
          <th scope="col">For</th>
        </tr>
      </thead>
      <tbody>
        {items.map(({ item, size, quantity, unit, for: owners }) => (
          <tr key={`${item} ${size} ${unit}`}>
            <td class="number">
              {quantity}
              {unit === 'm' && ' m'}
            </td>
            <th scope="row">{item}</th>
            <td>{size}</td>
            <td class="soft">{owners.join(' ')}</td>
          </tr>
        ))}
      </tbody>
    </table>
  );
}

/** What is printed here: hidden on the screen. */
function ShoppingPaper() {
  if (!shopping.value) return null;
  return (
    <div class="paper">
      <p class="head">
        <b>{propName}</b> · shopping list ·{' '}
        {new Date().toLocaleDateString('en-GB', { dateStyle: 'long' })}
      </p>
      <ShoppingTable items={shopping.value.items} />
    </div>
  );
}

/** A file name for a prop. */
function slug(name: string): string {
  return (
    name
      .toLowerCase()
      .replaceAll(/[^a-z0-9]+/g, '-')
      .replaceAll(/^-+|-+$/g, '') || 'prop'
  );
}
