import { signal } from '@preact/signals';
import { useId } from 'preact/hooks';
import { grouped } from '../../prop/loom-words.ts';
import { Act } from './act.tsx';
import { AS_TYPED } from './as-typed.ts';
import { askFirst } from './confirm.tsx';
import { FIRST_CONTROL } from './main-button.tsx';
import { Additions, checkLines, Listed } from './setup-lists.tsx';
import {
  decide,
  draft,
  type Proposed,
  proposed,
  startOver,
  used,
  useProposal,
  withoutWiring,
  working,
} from './setup-new-data.ts';
import { valueAndUnit } from './setup-new-draft.ts';
import { channels, condition, holding, isEmpty, propName } from './store.ts';

/** What is proposed, with its reasons, to be changed and put to use. */

type Decision = Proposed['decisions'][number];

const ABOUT_SUPPLY = /^PS\d+ /;

/** What was proposed, each value with its reason and to be changed, and the button that puts it to use. */
export function Review() {
  const { is } = proposed.value!;
  const { decisions, cautions, findings, added, left } = is;
  // What is said of a supply by its name is news, and no danger.
  const news = cautions.filter((one) => ABOUT_SUPPLY.test(one));
  return (
    <section class="sheet" id="review" tabIndex={-1} aria-labelledby="review-title">
      <h2 id="review-title">What is proposed</h2>
      <p class="hint">
        {decisions.length} values, each with its reason. Open a line to change what you know better;
        the rest follows. Nothing is measured yet.
      </p>
      <Problems of={is} />
      <Decisions of={decisions} />
      {news.map((one) => (
        <p key={one} class="review-news">
          {one}
        </p>
      ))}
      {added.length > 0 && (
        <details class="review-group">
          <summary>Wiring: {added.length} wires, plugs, blocks and fuses</summary>
          <Additions of={added} />
        </details>
      )}
      {withoutWiring.value && (
        <p class="notice">
          With its wires the file is too large to send at once. Use it without, then open Loom and
          add them there.
        </p>
      )}
      <Listed title="Yours to decide" items={left} />
      <Listed title="What the check says" items={checkLines(findings)} />
      <h3>Before you build it</h3>
      <ul class="review-cautions">
        {cautions
          .filter((one) => !ABOUT_SUPPLY.test(one))
          .map((one) => (
            <li key={one} class="caution">
              {one}
            </li>
          ))}
      </ul>
      {used.value ? <Used /> : <Use />}
    </section>
  );
}

/** Changes that could not be made, at no decision that is shown. */
function Problems({ of: { problems, decisions } }: { of: Proposed }) {
  const shown = new Set(decisions.map(({ id }) => id));
  const others = problems.filter(({ id }) => !shown.has(id));
  if (others.length === 0) return null;
  return (
    <ul class="new-wrong">
      {others.map(({ id, wrong }) => (
        <li key={id}>
          {id.replaceAll('.', ', ')}: {wrong}{' '}
          {Object.hasOwn(draft.value.changes, id) && (
            <button type="button" onClick={() => void decide(id, undefined)}>
              Forget this change
            </button>
          )}
        </li>
      ))}
    </ul>
  );
}

/** `flap_1: pin` is about flap_1; `stop button: pin` about the stop button. */
function subjectOf({ what }: Decision): [subject: string, rest: string] {
  const at = what.indexOf(': ');
  return at < 0 ? ['The whole prop', what] : [what.slice(0, at), what.slice(at + 2)];
}

/** What somebody has opened stays open when all is proposed again. */
const opened = signal<ReadonlySet<string>>(new Set());

function Decisions({ of }: { of: readonly Decision[] }) {
  const groups = grouped(of, (decision) => subjectOf(decision)[0]);
  const problems = proposed.value!.is.problems;
  return (
    <>
      {[...groups].map(([subject, some]) => {
        const wrong = some.some(({ id }) => problems.some((one) => one.id === id));
        return (
          <details
            key={subject}
            class="review-group"
            open={wrong || opened.value.has(subject)}
            onToggle={({ currentTarget: { open } }) => {
              if (open === opened.peek().has(subject)) return;
              const next = new Set(opened.peek());
              if (open) next.add(subject);
              else next.delete(subject);
              opened.value = next;
            }}
          >
            <summary>
              <b>{subject}</b>{' '}
              <span class="soft">
                {some.map((one) => `${subjectOf(one)[1]} ${one.value}`).join(' · ')}
              </span>
            </summary>
            {some.map((decision) => (
              <DecisionRow key={decision.id} label={subjectOf(decision)[1]} decision={decision} />
            ))}
          </details>
        );
      })}
    </>
  );
}

function DecisionRow({ label, decision }: { label: string; decision: Decision }) {
  const [why, wrongId, control] = [useId(), useId(), useId()];
  const { id, value, options } = decision;
  const [bare, unit] = valueAndUnit(value);
  const chosen = Object.hasOwn(draft.value.changes, id);
  const problem = proposed.value!.is.problems.find((one) => one.id === id);
  const shown = problem && chosen ? draft.value.changes[id]! : bare;
  const about = {
    id: control,
    'aria-describedby': problem ? `${wrongId} ${why}` : why,
    'aria-invalid': problem !== undefined,
    disabled: working.value,
  };
  const take = (next: string) => {
    if (next.trim() !== '' && next !== shown) void decide(id, next.trim());
  };
  return (
    <div class="review-row">
      <label class="new-field" for={control}>
        <span>
          {label}
          {unit && ` (${unit})`}
        </span>
        {options ? (
          <select {...about} value={bare} onChange={(event) => take(event.currentTarget.value)}>
            {options.map((one) => (
              <option key={one}>{one}</option>
            ))}
          </select>
        ) : (
          <input
            {...about}
            value={shown}
            maxLength={200}
            {...AS_TYPED}
            onChange={(event) => take(event.currentTarget.value)}
          />
        )}
      </label>
      <p>
        {problem && (
          <span id={wrongId} class="review-wrong">
            {problem.wrong}.{' '}
          </span>
        )}
        <span id={why} class="soft">
          {decision.why}
        </span>{' '}
        {chosen && (
          <button type="button" onClick={() => void decide(id, undefined)}>
            As proposed
          </button>
        )}
      </p>
    </div>
  );
}

/** Why it cannot be put to use now; empty when it can. */
function whyNot(): string {
  if (working.value) return 'It is being worked out.';
  if (proposed.value?.for !== draft.value)
    return 'You have changed something: propose again first.';
  if (proposed.value.is.findings.some(({ level }) => level === 'error'))
    return 'The check finds errors in it: change what it names first.';
  if (!holding.value) return FIRST_CONTROL;
  if (condition.value !== 'parked')
    return `The prop must be parked for this. It is ${condition.value}.`;
  return '';
}

function Use() {
  const why = useId();
  const reason = whyNot();
  const count = Object.keys(channels.value).length;
  const act = () => {
    if (isEmpty.peek()) void useProposal();
    else
      askFirst({
        title: `Replace ${propName.peek()}?`,
        text: `The prop file of ${propName.peek()}, with ${count} ${count === 1 ? 'channel' : 'channels'}, its marks and cues, is put aside for this one. It stays in the history, from where it can be put back. See that this file is for what is really connected: other pins may move or switch something else.`,
        yes: 'Replace it',
        act: () => void useProposal(),
      });
  };
  return (
    <p class="row review-use">
      <Act class="primary" can={reason === ''} aria-describedby={why} onAct={act}>
        Use this prop file
      </Act>
      <span class="hint" id={why}>
        {reason ||
          (isEmpty.value
            ? 'It is written, and in use at once; nothing moves.'
            : 'You are asked before anything is replaced.')}
      </span>
    </p>
  );
}

function Used() {
  return (
    <div class="notice" role="status">
      <p>
        {used.value!.pending
          ? 'It is written, and waits until the prop is parked.'
          : `${propName.value} is in use.`}
      </p>
      <p class="row">
        <a class="button" href="#wiring/print">
          Print loom list and wire flags
        </a>
        <a class="button" href="#setup/loom">
          Loom and shopping list
        </a>
        <a class="button" href="#overview">
          Try it
        </a>
        <button type="button" onClick={startOver}>
          Another new prop
        </button>
      </p>
    </div>
  );
}
