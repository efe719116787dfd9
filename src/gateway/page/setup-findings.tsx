import { signal, useSignal } from '@preact/signals';
import { fitsFrame } from '../../api/frame.ts';
import type { Result } from '../../api/methods.ts';
import { Act } from './act.tsx';
import { AS_TYPED } from './as-typed.ts';
import { Difference } from './difference.tsx';
import {
  applyCorrection,
  correction,
  type Finding,
  mayWrite,
  proposeCorrection,
  report,
} from './file-state.ts';
import { KeyLink } from './key-link.tsx';
import { call } from './link.ts';
import { channels, refuse, trouble } from './store.ts';
import { search, searchText } from './wiring-data.ts';

type Level = Finding['level'];
const LEVELS: readonly [Level, one: string, many: string, meaning: string][] = [
  ['error', 'error', 'errors', 'The prop does not use a file that has one.'],
  ['warning', 'warning', 'warnings', 'It works, but something will go wrong, or may hurt.'],
  ['note', 'note', 'notes', 'Worth knowing.'],
];

/** What is wrong with the file, where, and what to do about it. */
export function Findings() {
  const now = report.value!;
  const filter = useSignal<Level | 'all'>('all');
  const words = useSignal('');
  const list = now.findings.filter(
    (one) => (filter.value === 'all' || one.level === filter.value) && hasWords(one, words.value),
  );
  return (
    <section class="sheet" aria-labelledby="file-findings-title">
      <h2 id="file-findings-title">Findings</h2>
      <p role="status">{countText(now.findings, now.more)}</p>
      <All />
      {now.findings.length > 3 && (
        <search class="row findings-filter">
          <label>
            Show{' '}
            <select
              value={filter.value}
              onChange={(event) => {
                filter.value = event.currentTarget.value as Level | 'all';
              }}
            >
              <option value="all">all</option>
              {LEVELS.map(([level, , many]) => (
                <option key={level} value={level}>
                  {many}
                </option>
              ))}
            </select>
          </label>
          <label class="grows">
            with{' '}
            <input
              type="search"
              aria-label="Words in a finding"
              placeholder="a channel, a wire, a word"
              {...AS_TYPED}
              maxLength={100}
              value={words}
              onInput={(event) => {
                words.value = event.currentTarget.value;
              }}
            />
          </label>
        </search>
      )}
      {now.findings.length > 0 && list.length === 0 && <p>No finding matches.</p>}
      <Groups findings={list} version={now.version} />
      {now.inUse && <InUse />}
      <Rehearsal />
    </section>
  );
}

function hasWords({ path, wrong, right, line }: Finding, words: string): boolean {
  const text = `${path} ${wrong} ${right} line ${line}`.toLowerCase();
  return words
    .toLowerCase()
    .split(/\s+/)
    .every((word) => text.includes(word));
}

function countText(findings: readonly Finding[], more: number): string {
  if (findings.length === 0) return 'Nothing is wrong with the file.';
  const counts = LEVELS.flatMap(([level, one, many]) => {
    const count = findings.filter((finding) => finding.level === level).length;
    return count === 0 ? [] : [`${count} ${count === 1 ? one : many}`];
  });
  return counts.join(', ') + (more > 0 ? `; ${more} more are not shown` : '');
}

/** The findings of the version in use, where the file on the disk is another one. */
function InUse() {
  const { inUse } = report.value!;
  return (
    <details>
      <summary>
        The version in use: {countText(inUse!.findings, inUse!.more).replace(/\.$/, '')}
      </summary>
      <Groups findings={inUse!.findings} version={inUse!.version} readOnly />
    </details>
  );
}

function Groups({
  findings,
  version,
  readOnly = false,
}: {
  findings: readonly Finding[];
  version: string;
  readOnly?: boolean;
}) {
  return (
    <>
      {LEVELS.map(([level, one, many, meaning]) => {
        const own = findings.filter((finding) => finding.level === level);
        if (own.length === 0) return null;
        return (
          <section key={level} class={`finding-group is-${level}`}>
            <h3>
              {own.length} {own.length === 1 ? one : many}
            </h3>
            <p class="hint">{meaning}</p>
            <ul>
              {own.map((finding) => (
                <Item key={finding.at} of={finding} version={version} readOnly={readOnly} />
              ))}
            </ul>
          </section>
        );
      })}
    </>
  );
}

type Excerpt = Result<'prop.version'>;
/** Lines shown before and after. */
const AROUND = 3;

function Item({ of, version, readOnly }: { of: Finding; version: string; readOnly: boolean }) {
  const { at, line, column, path, wrong, right, sure } = of;
  const excerpt = useSignal<Excerpt | undefined>(undefined);
  const open = excerpt.value?.version === version ? excerpt.value : undefined;
  const place = `line ${line}, column ${column}`;
  const show = async () => {
    if (open) {
      excerpt.value = undefined;
      return;
    }
    try {
      const from = Math.max(1, line - AROUND);
      const lines = line - from + 1 + AROUND;
      excerpt.value = await call('prop.version', { version, from, lines });
    } catch (error) {
      refuse(error);
    }
  };
  return (
    <li class="finding">
      <p>
        <b class="number">{place[0]!.toUpperCase() + place.slice(1)}</b>{' '}
        {path !== '(file)' && <span class="path">{path}</span>}
      </p>
      <p>{wrong}</p>
      <p>
        {/* As it is: it may be copied into the file, where only a hyphen is a minus. */}
        <b>Remedy:</b> {right}
      </p>
      <div class="row">
        <button type="button" aria-expanded={open !== undefined} onClick={() => void show()}>
          {open ? 'Hide the line' : 'Show the line'}
          <span class="unseen"> of {place}</span>
        </button>
        {sure && !readOnly && (
          <button type="button" onClick={() => void proposeCorrection(at)}>
            Correct it…<span class="unseen"> {place}</span>
          </button>
        )}
      </div>
      <Links of={of} />
      {open && <Lines of={open} line={line} />}
      {!readOnly && correction.value?.of === at && <Proposal />}
    </li>
  );
}

/** To what the finding is about. */
function Links({ of: { path, code } }: { of: Finding }) {
  const name = /^channels\.([\w-]+)/.exec(path)?.[1];
  const info = name === undefined ? undefined : channels.value[name];
  const words = path.split(/[.[\]]+/).filter(Boolean);
  const key = (code === 'schema.unknown-key' ? words.slice(0, -1) : words).join('.');
  return (
    <p class="row finding-links">
      {info?.limitsDeg && <a href={`#bench/${name}`}>{name} on the Bench</a>}
      {info && (
        <button
          type="button"
          class="as-link"
          onClick={() => {
            searchText.value = name!;
            void search();
            location.hash = '#wiring/find';
          }}
        >
          Wires of {name}
        </button>
      )}
      {/^[a-z]/i.test(path) && key && <KeyLink of={key}>What this key means</KeyLink>}
    </p>
  );
}

/** A few lines of the file, to read. */
function Lines({ of: { from, text }, line }: { of: Excerpt; line: number }) {
  return (
    // biome-ignore lint/a11y/noNoninteractiveTabindex: what scrolls must be within reach of the keyboard
    <section class="excerpt" aria-label={`Lines around line ${line}`} tabIndex={0}>
      <ol>
        {text.split('\n').map((one, index) => {
          const at = from + index;
          return (
            <li key={at} class={at === line ? 'is-it' : ''}>
              <span class="number">
                {at === line && <span class="unseen">the line of the finding: </span>}
                {at}
              </span>
              <code>{one}</code>
            </li>
          );
        })}
      </ol>
    </section>
  );
}

/** All sure corrections with one press, where there are several. */
function All() {
  const count = report.value!.findings.filter(({ sure }) => sure).length;
  if (count < 2) return null;
  return (
    <div class="all-corrections">
      <button type="button" onClick={() => void proposeCorrection('all')}>
        Make all {count} sure corrections…
      </button>
      {correction.value?.of === 'all' && <Proposal />}
    </div>
  );
}

/** What would change, and the question whether it should. */
function Proposal() {
  const proposed = correction.value!;
  const { text, done, left, version } = proposed;
  if (text === undefined)
    return (
      <p role="status" class="proposal">
        {proposed.of === 'all'
          ? 'None of them can be made: edit the file by hand.'
          : 'It cannot be made by itself. Make the others first, or all of them at once.'}
      </p>
    );
  const isLong = !fitsFrame(text);
  return (
    <section class="proposal" aria-label="What would change">
      <Difference of={proposed} label="What would change in the file" />
      <p role="status">
        {done.length === 1 ? 'One correction' : `${done.length} corrections`};{' '}
        {left === 0
          ? 'nothing else is found'
          : `${left} ${left === 1 ? 'finding is' : 'findings are'} left`}
        .
      </p>
      {isLong && (
        <p>
          The file is too large to be sent from here. On the board, run{' '}
          <code>sinew check FILE --fix</code>.
        </p>
      )}
      {!mayWrite.value && <p class="hint">Take control first: only one may change the file.</p>}
      <div class="row">
        <Act
          class="primary"
          can={mayWrite.value && !isLong && version === report.value!.version}
          onAct={() => void applyCorrection(proposed)}
        >
          Write it to the file
        </Act>
        <button
          type="button"
          onClick={() => {
            correction.value = undefined;
          }}
        >
          Leave it
        </button>
      </div>
    </section>
  );
}

type Rehearsed = Result<'prop.rehearse'>;
/** For the version that it names. */
const rehearsed = signal<Rehearsed | undefined>(undefined);
const rehearsing = signal(false);

async function rehearse(): Promise<void> {
  rehearsing.value = true;
  try {
    rehearsed.value = await call('prop.rehearse', {});
    trouble.value = '';
  } catch (error) {
    refuse(error);
  } finally {
    rehearsing.value = false;
  }
}

/** What only shows while the prop plays, on demand: it takes some seconds of the board's spare time. */
function Rehearsal() {
  const { version, findings } = report.value!;
  const isFaulty = findings.some(({ level }) => level === 'error');
  const result = rehearsed.value?.version === version ? rehearsed.value : undefined;
  return (
    <section class="rehearsal" aria-labelledby="rehearsal-title">
      <h3 id="rehearsal-title">Rehearsal</h3>
      <p class="hint">
        Wakes, plays every cue and parks, worked out without hardware: nothing moves. It takes the
        board some seconds.
      </p>
      <Act can={!rehearsing.value && !isFaulty} onAct={() => void rehearse()}>
        {rehearsing.value ? 'Rehearsing…' : 'Rehearse everything'}
      </Act>
      {isFaulty && <p class="hint">First correct the errors above.</p>}
      <p role="status">{result && rehearsalText(result)}</p>
      {result && <Groups findings={result.findings} version={version} readOnly />}
    </section>
  );
}

function rehearsalText({ findings, more, skipped }: Rehearsed): string {
  const found =
    findings.length === 0
      ? 'Nothing is refused, delayed or held back on the way.'
      : `On the way: ${countText(findings, more)}.`;
  return skipped.length === 0
    ? found
    : `${found} There was no time for: ${skipped.join(', ')}. On a laptop, sinew check FILE rehearses them too.`;
}
