import './setup-keys.css';
import { signal, useSignalEffect } from '@preact/signals';
import { Fragment } from 'preact';
import { useEffect, useRef } from 'preact/hooks';
import type { Result } from '../../api/methods.ts';
import { KINDS_TITLE, keyFacts, keyLine, keyTitle } from '../../drawings/key-words.ts';
import { forPeople } from './for-people.ts';
import { KeyLink, keyAddress } from './key-link.tsx';
import { call, linkState } from './link.ts';
import { SearchField } from './search-field.tsx';

type Answer = Result<'prop.explain'>;
type Key = NonNullable<Answer['key']>;
type Found = NonNullable<Answer['found']>;

/** The key in the address: `#setup/keys/channels.servo.calibration`. */
const wanted = signal(keyOf(location.hash));
addEventListener('hashchange', () => {
  if (isKeys(location.hash)) wanted.value = keyOf(location.hash);
});

function isKeys(hash: string): boolean {
  return hash.startsWith('#setup/keys');
}

function keyOf(hash: string): string {
  return isKeys(hash) ? decoded(hash.split('/').slice(2).join('/')) : '';
}

/** An address may be typed by hand. */
function decoded(text: string): string {
  try {
    return decodeURIComponent(text);
  } catch {
    return text;
  }
}

/** What is shown, or why nothing is. */
const shown = signal<Key | undefined>(undefined);
const problem = signal('');
const searchText = signal('');
/** For `foundFor`. */
const found = signal<Found>([]);
const foundFor = signal('');

let asked = 0;

async function load(path: string): Promise<void> {
  const mine = ++asked;
  try {
    const { key } = await call('prop.explain', { key: path });
    if (mine !== asked) return;
    shown.value = key;
    problem.value = '';
  } catch (error) {
    if (mine !== asked) return;
    shown.value = undefined;
    problem.value = forPeople((error as Error).message);
  }
}

async function search(): Promise<void> {
  const text = searchText.value.trim();
  try {
    const answer = text ? await call('prop.explain', { find: text }) : undefined;
    if (text !== searchText.value.trim()) return;
    found.value = answer?.found ?? [];
    foundFor.value = text;
  } catch (error) {
    problem.value = forPeople((error as Error).message);
  }
}

function endSearch(): void {
  searchText.value = '';
  foundFor.value = '';
  found.value = [];
}

/** The key reference: every key of the prop file, what it means and what it may say. */
export function Keys() {
  useSignalEffect(() => {
    const path = wanted.value;
    if (linkState.value === 'open') void load(path);
  });
  return (
    <div class="keys">
      <Search />
      {foundFor.value ? <Results /> : <Shown />}
    </div>
  );
}

function Search() {
  return (
    <search class="sheet">
      <SearchField
        text={searchText}
        most={100}
        hint="Words of a key or of what it means: fuse, soft limits, relay rest."
        onSearch={() => void search()}
      />
    </search>
  );
}

function Results() {
  const count = found.value.length;
  return (
    <section class="sheet" aria-label="Keys that were found">
      <p role="status" class="count">
        {count === 0
          ? `No key has “${foundFor.value}”. Try one word, or another.`
          : `${count === 1 ? 'One key' : `${count}${count === 40 ? ' or more' : ''} keys`} for “${foundFor.value}”`}
      </p>
      <ul class="key-list">
        {found.value.map(({ path, about }) => (
          <li key={path}>
            <a class="path" href={keyAddress(path)} onClick={endSearch}>
              {path}
            </a>
            {about && <p>{about}</p>}
          </li>
        ))}
      </ul>
    </section>
  );
}

/** The key that was shown last; at the first one the focus stays where it is. */
let ledTo: string | undefined;

function Shown() {
  const title = useRef<HTMLHeadingElement>(null);
  const key = shown.value;
  const path = key?.path;
  useEffect(() => {
    if (path === undefined) return;
    if (ledTo !== undefined && ledTo !== path) title.current?.focus();
    ledTo = path;
  }, [path]);
  if (!key)
    return problem.value ? (
      <section class="sheet" role="alert">
        <p>{problem.value}</p>
        <p>
          <KeyLink of="">All keys</KeyLink>
        </p>
      </section>
    ) : null;
  return (
    <section class="sheet key" aria-labelledby="key-title">
      <Trail of={key} />
      <h2 id="key-title" ref={title} tabIndex={-1}>
        {keyTitle(key)}
      </h2>
      {key.about && <p>{key.about}</p>}
      <dl class="key-facts">
        {keyFacts(key).map(([label, text]) => (
          <div key={label}>
            <dt>{label}:</dt>
            <dd>{label === 'such as' ? <code>{text}</code> : text}</dd>
          </div>
        ))}
      </dl>
      {key.kinds.length > 0 && (
        <>
          <h3>{KINDS_TITLE}:</h3>
          <ul class="row kinds">
            {key.kinds.map((kind) => (
              <li key={kind}>
                <a class="button" href={keyAddress(`${key.path}.${kind}`)}>
                  {kind}
                </a>
              </li>
            ))}
          </ul>
        </>
      )}
      {key.keys.length > 0 && (
        <ul class="key-list" aria-label={`Keys of ${key.path || 'a prop file'}`}>
          {key.keys.map((one) => {
            const { about, more } = keyLine(one);
            return (
              <li key={one.name}>
                <a class="path" href={keyAddress(one.path)}>
                  {one.name}
                </a>
                <p>{about}</p>
                {more && <p class="hint">{more}</p>}
              </li>
            );
          })}
        </ul>
      )}
    </section>
  );
}

/** From the whole file down to the key above the one shown. */
function Trail({ of: { path, parent } }: { of: Key }) {
  if (parent === null) return null;
  const words = path.split('.').slice(0, -1);
  return (
    <nav class="key-trail" aria-label="Where this key is">
      <a href={keyAddress('')}>All keys</a>
      {words.map((word, at) => (
        <Fragment key={words.slice(0, at + 1).join('.')}>
          <span aria-hidden="true">›</span>
          <a href={keyAddress(words.slice(0, at + 1).join('.'))}>{word}</a>
        </Fragment>
      ))}
    </nav>
  );
}
