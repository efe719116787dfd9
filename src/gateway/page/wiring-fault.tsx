import { signal, useSignalEffect } from '@preact/signals';
import { useId } from 'preact/hooks';
import type { Symptom, Trace } from '../../api/types.ts';
import { KINDS } from './kinds.tsx';
import { ask, channels, version } from './store.ts';

/** What is asked of a channel that fails, in the words of the person in front of it. */
const WORDS: Record<Symptom, string> = {
  dead: 'it does nothing',
  buzzing: 'it buzzes or runs hot',
  'wrong-way': 'it moves the wrong way, or another one moves',
  dim: 'it is too dim',
  weak: 'it is weak or slow, or what it switches is',
  'stays-on': 'it stays on',
};

const chosen = signal('');
const symptom = signal<Symptom>('dead');
const trace = signal<Trace | undefined>(undefined);
/** The version of the prop file that `trace` is of. */
let shownVersion = '';
/** Steps that were found good, by their number. */
const good = signal<ReadonlySet<number>>(new Set());

async function show(): Promise<void> {
  const params = { channel: chosen.value, symptom: symptom.value };
  const answer = await ask('loom.trace', params);
  // Somebody may have chosen another meanwhile; then the next answer counts.
  if (!answer || answer.channel !== chosen.value || answer.symptom !== symptom.value) return;
  // The same steps of another version of the prop file stay as far as they were done.
  if (JSON.stringify(trace.value?.steps) !== JSON.stringify(answer.steps)) good.value = new Set();
  trace.value = answer;
}

function choose(channel: string, what: Symptom): void {
  chosen.value = channel;
  symptom.value = what;
  trace.value = undefined;
  if (channel) void show();
}

/** Opens the fault finding of a channel. */
export function showFault(channel: string): void {
  choose(channel, 'dead');
}

/** From a channel that fails to what it hangs on: what to check, in which order, and what is right. */
export function Fault() {
  useSignalEffect(() => {
    if (version.value === shownVersion) return;
    shownVersion = version.value;
    if (chosen.peek()) void show();
  });
  const kind = channels.value[chosen.value]?.kind;
  return (
    <section class="sheet fault" id="wiring/fault">
      <h2>It does not work</h2>
      <div class="row">
        <label>
          Channel{' '}
          <select
            value={chosen.value}
            onChange={(event) => choose(event.currentTarget.value, 'dead')}
          >
            <option value="">choose</option>
            {Object.keys(channels.value).map((name) => (
              <option key={name}>{name}</option>
            ))}
          </select>
        </label>
        {kind && (
          <label>
            What is wrong{' '}
            <select
              value={symptom.value}
              onChange={(event) => choose(chosen.value, event.currentTarget.value as Symptom)}
            >
              {KINDS[kind].symptoms.map((one) => (
                <option key={one} value={one}>
                  {WORDS[one]}
                </option>
              ))}
            </select>
          </label>
        )}
      </div>
      <p role="status" class="hint">
        {trace.value ? summary(trace.value) : 'Tells what to check, step by step, with a meter.'}
      </p>
      {trace.value && <Steps of={trace.value} />}
    </section>
  );
}

function summary({ rail, fuse, wires, connectors, steps }: Trace): string {
  const parts = [
    rail && `rail ${rail}`,
    fuse && `fuse ${fuse}`,
    wires.length > 0 && `wires ${wires.join(' ')}`,
    connectors.length > 0 && `connectors ${connectors.join(' ')}`,
  ].filter(Boolean);
  return `${steps.length} steps. It depends on ${parts.join(', ') || 'nothing that the file names'}.`;
}

function Steps({ of }: { of: Trace }) {
  return (
    <>
      <ul class="caution fault-cautions">
        {of.cautions.map((caution) => (
          <li key={caution}>{caution}</li>
        ))}
      </ul>
      <ol class="fault-steps">
        {of.steps.map((step, i) => (
          <Step key={step.check} step={step} index={i} />
        ))}
      </ol>
      {of.gaps.length > 0 && <p class="hint">The file does not say: {of.gaps.join('; ')}.</p>}
    </>
  );
}

function Step({ step, index }: { step: Trace['steps'][number]; index: number }) {
  const what = useId();
  const done = good.value.has(index);
  return (
    <li class={done ? 'done' : ''}>
      <p id={what}>
        <b class="power">Power {step.power}</b> {step.check}
      </p>
      <p>
        <label class="as-expected">
          <input
            type="checkbox"
            checked={done}
            aria-describedby={what}
            onChange={(event) => {
              const next = new Set(good.value);
              if (event.currentTarget.checked) next.add(index);
              else next.delete(index);
              good.value = next;
            }}
          />
          <span>Good: {step.expect}</span>
        </label>
      </p>
      {!done && <p class="hint">Else: {step.otherwise}</p>}
    </li>
  );
}
