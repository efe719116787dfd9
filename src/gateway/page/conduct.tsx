import { signal } from '@preact/signals';
import { render } from 'preact';
import { useMemo } from 'preact/hooks';
import './conduct.css';
import type { ShownProp, ShowPageAct, ShowPageAnswer, ShowPageState } from '../../api/show-page.ts';
import { TOKEN_KEY, tabKept } from './kept.ts';
import { StopPress } from './stop-press.ts';

/** The page of a show of many props: all of them, those with problems first. */

/** How often it looks (ms); an answer that takes longer counts as none. */
const EVERY_MS = 700;
const ANSWER_MS = 2500;

const state = signal<ShowPageState | undefined>(undefined);
/** Why what is shown may be old; undefined while it is not. */
const lost = signal<string | undefined>('no contact yet');
const lines = signal<{ ok: boolean; lines: string[] } | undefined>(undefined);
/** Names of what is asked for now. */
const busy = signal<ReadonlySet<string>>(new Set());
/** By prop or group: the cue that is chosen. */
const chosen = signal<Readonly<Record<string, string>>>({});

const pageId = crypto.getRandomValues(new Uint32Array(4)).join('-');
/** In the address, or as the page of the prop has left it, that has opened this one. */
const token =
  new URLSearchParams(location.hash.slice(1)).get('token') ?? tabKept.getItem(TOKEN_KEY) ?? '';
const headers = {
  'x-page': pageId,
  ...(token && { authorization: `Bearer ${token}` }),
};

async function look(): Promise<void> {
  try {
    const reply = await fetch('state', { headers, signal: AbortSignal.timeout(ANSWER_MS) });
    const body = (await reply.json()) as ShowPageState & { error?: string };
    if (!reply.ok) throw new Error(body.error);
    state.value = body;
    lost.value = undefined;
  } catch (error) {
    lost.value = (error as Error).message || 'no answer';
  }
  setTimeout(() => void look(), EVERY_MS);
}

async function ask(act: ShowPageAct, name: string): Promise<void> {
  busy.value = new Set([...busy.value, name]);
  try {
    const reply = await fetch('act', {
      method: 'POST',
      headers: { ...headers, 'content-type': 'application/json' },
      body: JSON.stringify(act),
    });
    const body = (await reply.json()) as ShowPageAnswer & { error?: string };
    if (!reply.ok) throw new Error(body.error);
    lines.value = body;
  } catch (error) {
    const why = (error as Error).message;
    lines.value = { ok: false, lines: [`not done: ${why}. Use the switch at the prop`] };
  }
  busy.value = new Set([...busy.value].filter((one) => one !== name));
}

/** Stops on press, not on release. */
function Halt({ target, label }: { target: string; label: string }) {
  const press = useMemo(
    () => new StopPress(() => void ask({ act: 'stop', target, category: 1 }, `stop ${target}`)),
    [target],
  );
  return (
    <button
      type="button"
      class="halt"
      aria-label={target === 'all' ? label : `${label} ${target}`}
      onPointerDown={press.pointerDown}
      onKeyDown={press.keyDown}
      onPointerUp={press.released}
      onPointerCancel={press.released}
      onKeyUp={press.released}
      onClick={press.click}
    >
      {label}
    </button>
  );
}

function Go({
  target,
  cues,
  may,
  why,
}: {
  target: string;
  cues: string[];
  may: boolean;
  why: string;
}) {
  const cue = chosen.value[target] ?? cues[0];
  if (cue === undefined) return <p class="soft">No cues.</p>;
  const name = `go ${target}`;
  return (
    <div class="row">
      <select
        aria-label={`cue of ${target}`}
        value={cue}
        onChange={({ currentTarget }) => {
          chosen.value = { ...chosen.value, [target]: currentTarget.value };
        }}
      >
        {cues.map((one) => (
          <option key={one}>{one}</option>
        ))}
      </select>
      <button
        type="button"
        class="primary"
        disabled={!may || busy.value.has(name)}
        title={may ? '' : why}
        aria-label={`Go: the cue of ${target}`}
        onClick={() => void ask({ act: 'go', target, cue }, name)}
      >
        Go
      </button>
    </div>
  );
}

function Prop({ prop }: { prop: ShownProp }) {
  const { prop: target, name, here, condition, armed, runs, problems, cues } = prop;
  const may = state.value!.control && here && armed && lost.value === undefined;
  const why = armed ? 'take control first' : 'arm it at the prop first';
  return (
    <li class={problems.length > 0 ? 'amiss' : ''}>
      <h2>{target}</h2>
      <p class="soft">
        {name && name !== target ? `${name}: ` : ''}
        {here ? condition : 'gone'}
        {here ? (armed ? ', armed' : ', not armed') : ''}
        {runs.length > 0 ? `, runs ${runs.join(', ')}` : ''}
      </p>
      {problems.length > 0 && (
        <ul>
          {problems.map((one) => (
            <li key={one}>{one}</li>
          ))}
        </ul>
      )}
      <Go target={target} cues={cues} may={may} why={why} />
      <div class="row">
        <Halt target={target} label="Stop" />
        <button type="button" onClick={() => void ask({ act: 'park', target }, `park ${target}`)}>
          Park
        </button>
        <button
          type="button"
          title="Hands in the prop: it stops, and wakes for nobody until the lock is cleared there"
          onClick={() => void ask({ act: 'lockout', target }, `lock ${target}`)}
        >
          Lock out
        </button>
      </div>
    </li>
  );
}

function Together({ target }: { target: string }) {
  const { props, control } = state.value!;
  const cues = [...new Set(props.flatMap((one) => one.cues))].sort();
  return (
    <section class="together">
      <h2>{target === 'all' ? 'All props' : target}</h2>
      <Go
        target={target}
        cues={cues}
        may={control && lost.value === undefined}
        why="take control first"
      />
      <div class="row">
        {target !== 'all' && <Halt target={target} label="Stop" />}
        <button type="button" onClick={() => void ask({ act: 'end', target }, `end ${target}`)}>
          End cues
        </button>
        <button type="button" onClick={() => void ask({ act: 'park', target }, `park ${target}`)}>
          Park
        </button>
      </div>
    </section>
  );
}

function Control() {
  const { control, holder } = state.value!;
  return (
    <section class="together">
      <p>
        {control
          ? 'This page starts cues. Keep the props in sight.'
          : 'Every page can stop, park and lock out as long as the broker can be reached. To start cues, take control: only one page at a time has it.'}
      </p>
      {holder !== null && <p class="soft">Now {holder} has it.</p>}
      <div class="row">
        <button
          type="button"
          onClick={() => void ask({ act: control ? 'release' : 'take' }, 'control')}
        >
          {control ? 'Give control back' : 'Take control'}
        </button>
      </div>
    </section>
  );
}

function App() {
  const now = state.value;
  return (
    <>
      <header class="reach">
        <h1>{now ? `Show ${now.show}` : 'Show'}</h1>
        <button type="button" onClick={() => void ask({ act: 'park', target: 'all' }, 'park all')}>
          Park all
        </button>
        <Halt target="all" label="Stop all" />
      </header>
      <main class="show">
        <div role="alert">
          {lost.value !== undefined && (
            <p class="warn">
              No contact: {lost.value}. What is shown may be old, and Stop may do nothing here: use
              the switches at the props.
            </p>
          )}
          {now?.broker && (
            <p class="warn">
              The broker is away: {now.broker}. Stop does nothing here: use the switches at the
              props.
            </p>
          )}
          {now?.rights && <p class="warn">{now.rights}.</p>}
        </div>
        <div role="status">
          {lines.value && lines.value.lines.length > 0 && (
            <section class="together">
              {lines.value.lines.map((line) => (
                <p key={line} class={lines.value!.ok ? '' : 'warn'}>
                  {line}
                </p>
              ))}
            </section>
          )}
        </div>
        {now && (
          <>
            <ul class="props">
              {now.props.map((prop) => (
                <Prop key={prop.prop} prop={prop} />
              ))}
            </ul>
            <Control />
            {['all', ...now.groups].map((target) => (
              <Together key={target} target={target} />
            ))}
          </>
        )}
      </main>
    </>
  );
}

render(<App />, document.body);
void look();
