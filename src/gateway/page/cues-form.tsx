import { useComputed } from '@preact/signals';
import type { ComponentChildren } from 'preact';
import { useId } from 'preact/hooks';
import { NAME } from '../../prop/name.ts';
import { withMinus } from '../../shared/minus.ts';
import { tidy } from '../../shared/units.ts';
import { Act } from './act.tsx';
import { ColourParts } from './colour.tsx';
import {
  cue,
  cursorS,
  edit,
  inFile,
  known,
  said,
  selected,
  steps,
  times,
  tookS,
} from './cues-data.ts';
import { NumberInput } from './cues-fields.tsx';
import {
  comesAfter,
  dropPart,
  FLOW_ROW,
  foreignKeys,
  isOn,
  lengthKey,
  limitsOf,
  marksOf,
  middleOf,
  newTarget,
  newUntil,
  type Part,
  recordOf,
  rowWords,
  type Step,
  setAfter,
  setKey,
  setName,
  setTarget,
  stepWords,
} from './cues-model.ts';
import { play } from './cues-play.ts';
import { copyStep, gridS, lengthen, nudge, remove } from './cues-timeline.tsx';
import { Select } from './select.tsx';
import { LoudCaution } from './sound.tsx';
import { isUnknown } from './standing.ts';
import { channels, groups, stateOf } from './store.ts';
import { Tick } from './tick.tsx';

/** What the selected step does, by number, mark, colour, or as the prop stands now. */

/** Words for the parts that a form can add to a step. */
const OTHERS = {
  pose: 'a pose',
  take: 'a take',
  until: 'a wait',
  cue: 'another cue',
  choose: 'one of some cues',
};

export function StepForm() {
  const at = selected.value;
  const step = steps.value[at];
  return (
    <section class="sheet desk-form" aria-labelledby="desk-step">
      <h2 id="desk-step">{step ? `Step ${at + 1} of ${steps.value.length}` : 'Step'}</h2>
      {step ? (
        <Form key={`${cue.value} ${at}`} step={step} at={at} />
      ) : (
        <p class="hint">
          {steps.value.length === 0
            ? 'Add a row for what is to move or light, then press its + to place a step at the cursor.'
            : 'Select a step in the timeline to change it here.'}
        </p>
      )}
    </section>
  );
}

function Form({ step, at }: { step: Step; at: number }) {
  const foreign = foreignKeys(step);
  const has = (...keys: string[]) => keys.some((key) => step[key] !== undefined);
  return (
    <div class="desk-fields">
      <p>{stepWords(step)}</p>
      {foreign.length > 0 && (
        <p class="notice-line">
          {foreign.join(', ')}: this part is edited in the file. The desk leaves it as it is.
        </p>
      )}
      <div class="row">
        <button type="button" onClick={() => copyStep(at)}>
          Copy
        </button>
        <button type="button" onClick={() => remove(at)}>
          Remove
        </button>
        <button type="button" onClick={() => play(times.peek()[at]?.startS ?? 0)}>
          Play from here, on the screen
        </button>
      </div>
      <When step={step} at={at} />
      <Targets step={step} at={at} />
      {step.pose !== undefined && (
        <Fieldset legend="Pose" onRemove={() => edit(dropPart(steps.peek(), at, 'pose'))}>
          <Select
            class="field"
            label="Pose"
            value={String(step.pose)}
            options={known.value.poses}
            onPick={(value) => edit(setKey(steps.peek(), at, 'pose', value))}
          />
        </Fieldset>
      )}
      {step.take !== undefined && <Take step={step} at={at} />}
      {has('move', 'pose') && (
        <Length step={step} at={at} part={has('move') ? 'move' : 'pose'} label="Takes (s)">
          empty: as fast as the limits allow
        </Length>
      )}
      {has('colour', 'dim') && (
        <Length step={step} at={at} part={has('colour') ? 'colour' : 'dim'} label="Fades for (s)">
          empty: as fast as the light may
        </Length>
      )}
      {has('move', 'pose', 'colour', 'dim') && <Ease step={step} at={at} />}
      {has('switch') && (
        <Length step={step} at={at} part="switch" label="Switches back after (s)">
          empty: it stays so
        </Length>
      )}
      {has('sound') && (
        <>
          <NumberInput
            label="Volume (%)"
            value={typeof step.volume === 'number' ? tidy(step.volume * 100, 1) : undefined}
            min={0}
            max={100}
            onSet={(value) =>
              edit(
                setKey(
                  steps.peek(),
                  at,
                  'volume',
                  value === undefined ? undefined : tidy(value / 100, 4),
                ),
              )
            }
          />
          <LoudCaution />
        </>
      )}
      {step.until !== undefined && <Until step={step} at={at} />}
      {has('cue', 'choose') && <Inner step={step} at={at} />}
      <AddPart step={step} at={at} />
    </div>
  );
}

function Fieldset(props: { legend: string; onRemove?: () => void; children: ComponentChildren }) {
  return (
    <fieldset class="desk-part">
      <legend>{props.legend}</legend>
      {props.children}
      {props.onRemove && (
        <button type="button" aria-label={`Take out ${props.legend}`} onClick={props.onRemove}>
          Take out
        </button>
      )}
    </fieldset>
  );
}

// --- when -------------------------------------------------------------------------------------------

function When({ step, at }: { step: Step; at: number }) {
  const all = steps.value;
  const { after } = step;
  const before = after === undefined ? -1 : all.findIndex(({ name }) => name === after);
  const others = all
    .map((one, i): [string, string] => [
      String(i),
      `step ${i + 1}${one.name === undefined ? '' : ` (${one.name})`}: ${stepWords(one)}`.slice(
        0,
        60,
      ),
    ])
    .filter(([i]) => Number(i) !== at && !comesAfter(all, Number(i), at));
  return (
    <fieldset class="desk-part">
      <legend>When</legend>
      <NumberInput
        label={after === undefined ? 'Starts at (s)' : 'Starts this long after it (s)'}
        value={typeof step.at === 'number' ? step.at : 0}
        min={0}
        onSet={(value) =>
          edit(
            setKey(
              steps.peek(),
              at,
              'at',
              value === 0 && after !== undefined ? undefined : (value ?? 0),
            ),
          )
        }
      />
      <div class="row">
        <button type="button" onClick={() => nudge(at, -gridS.peek())}>
          Earlier
        </button>
        <button type="button" onClick={() => nudge(at, gridS.peek())}>
          Later
        </button>
        <button
          type="button"
          aria-label={`To the cursor, ${tidy(cursorS.value, 2)} s`}
          onClick={() => {
            const startS = times.peek()[at]?.startS ?? 0;
            const now = typeof step.at === 'number' ? step.at : 0;
            edit(
              setKey(steps.peek(), at, 'at', tidy(Math.max(0, now + cursorS.peek() - startS), 3)),
            );
          }}
        >
          To the cursor
        </button>
      </div>
      <Select
        class="field"
        label="After"
        value={before >= 0 ? String(before) : after === undefined ? '' : String(after)}
        options={[['', 'the start of the cue'], ...others]}
        onPick={(value) =>
          edit(setAfter(steps.peek(), at, value === '' ? undefined : Number(value), tookS.peek()))
        }
      />
      <NumberInput
        label="Up to this much later, at random (s)"
        value={step.spreadS as number | undefined}
        min={0}
        onSet={(value) => edit(setKey(steps.peek(), at, 'spreadS', value || undefined))}
      />
      <label class="field">
        Name of the step{' '}
        <input
          value={typeof step.name === 'string' ? step.name : ''}
          maxLength={60}
          autocomplete="off"
          spellcheck={false}
          onChange={({ currentTarget }) => {
            const name = currentTarget.value.trim();
            const now = setName(steps.peek(), at, name, tookS.peek());
            const isRight = name === '' || NAME.test(name);
            if (isRight && (now !== steps.peek() || name === step.name)) return edit(now);
            currentTarget.value = typeof step.name === 'string' ? step.name : '';
            said.value = isRight
              ? `Another step is called ${name} already.`
              : 'A name is a letter, then letters, digits, _ or - (64 at most).';
          }}
        />
      </label>
      {times.value[at]?.never && (
        <p class="notice-line">
          It never starts: the step that it comes after is not there, or comes after this one.
        </p>
      )}
    </fieldset>
  );
}

function Length(props: {
  step: Step;
  at: number;
  part: string;
  label: string;
  children: ComponentChildren;
}) {
  const { step, at, part } = props;
  const key = lengthKey(part)!;
  return (
    <div class="desk-length">
      <NumberInput
        label={props.label}
        value={step[key] as number | undefined}
        min={key === 'fadeS' ? 0 : 0.01}
        onSet={(value) => edit(setKey(steps.peek(), at, key, value))}
      />
      <span class="hint">{props.children}</span>
      <div class="row">
        <button
          type="button"
          aria-label={`Shorter: ${props.label}`}
          onClick={() => lengthen(at, part, -gridS.peek())}
        >
          Shorter
        </button>
        <button
          type="button"
          aria-label={`Longer: ${props.label}`}
          onClick={() => lengthen(at, part, gridS.peek())}
        >
          Longer
        </button>
      </div>
    </div>
  );
}

const EASES = ['linear', 'ease', 'ease-in', 'ease-out', 'ease-in-out'];

function Ease({ step, at }: { step: Step; at: number }) {
  return (
    <Select
      class="field"
      label="Easing"
      value={typeof step.ease === 'string' ? step.ease : ''}
      options={[['', 'as usual'], ...EASES]}
      onPick={(value) => edit(setKey(steps.peek(), at, 'ease', value || undefined))}
    />
  );
}

// --- what it does -----------------------------------------------------------------------------------

const PARTS: readonly Part[] = ['move', 'colour', 'dim', 'switch', 'sound'];

function Targets({ step, at }: { step: Step; at: number }) {
  return (
    <>
      {PARTS.flatMap((part) =>
        Object.entries(recordOf(step[part])).map(([name, to]) => (
          <Target key={`${part} ${name}`} part={part} name={name} to={to} at={at} />
        )),
      )}
    </>
  );
}

interface TargetProps {
  part: Part;
  name: string;
  to: unknown;
  at: number;
}

function Target(props: TargetProps) {
  const { part, name, to, at } = props;
  const set = (value: unknown) => edit(setTarget(steps.peek(), at, part, name, value));
  return (
    <Fieldset
      legend={name}
      onRemove={() => edit(setTarget(steps.peek(), at, part, name, undefined))}
    >
      {part === 'move' && <MoveTarget name={name} to={to} set={set} />}
      {part === 'switch' && (
        <>
          <Select
            class="field"
            label={`${name} is switched`}
            value={isOn(to) ? 'on' : 'off'}
            options={['on', 'off']}
            onPick={set}
          />
          {isOn(to) && <RelayCaution name={name} />}
        </>
      )}
      {part === 'sound' && (
        <Select
          class="field"
          label={`${name} plays`}
          value={String(to)}
          options={[...(known.value.channels[name]?.sounds ?? []), ['off', 'off: it fades out']]}
          onPick={set}
        />
      )}
      {part === 'dim' && (
        <NumberInput
          label="Brightness (%)"
          value={typeof to === 'number' ? tidy(to * 100, 1) : undefined}
          min={0}
          max={100}
          required
          onSet={(value) => value !== undefined && set(tidy(value / 100, 4))}
        />
      )}
      {part === 'colour' && <ColourTarget name={name} to={String(to)} at={at} />}
      {part !== 'sound' && <Now {...props} />}
    </Fieldset>
  );
}

function RelayCaution({ name }: { name: string }) {
  const info = channels.value[name];
  if (!info?.vapour && !info?.duty) return null;
  return (
    <p class="caution">
      {info.vapour
        ? 'Vapour is hot where it leaves, and makes floors wet. Keep faces and hands away from the outlet.'
        : 'It may not stay on for long: its duty guard opens it.'}
    </p>
  );
}

function MoveTarget({
  name,
  to,
  set,
}: {
  name: string;
  to: unknown;
  set: (value: unknown) => void;
}) {
  const marks = marksOf(name, known.value);
  const random = typeof to === 'object' && to !== null ? recordOf(to) : undefined;
  const form = random ? '=random' : typeof to === 'number' ? '=deg' : String(to);
  const limits = limitsOf(name, known.value);
  const middle = degOf(name, to) ?? middleOf(limits);
  return (
    <>
      <Select
        class="field"
        label={`${name} moves to`}
        value={form}
        options={[...marks, ['=deg', 'an angle'] as const, ['=random', 'a random angle'] as const]}
        onPick={(value) => {
          if (value === '=deg') set(random ? Number(random.around) : middle);
          else if (value === '=random') set({ around: middle, spread: 5 });
          else set(value);
        }}
      />
      {typeof to === 'number' && (
        <NumberInput
          label={`Angle (°), ${limits.map((deg) => withMinus(tidy(deg, 1))).join(' to ')}`}
          value={to}
          required
          onSet={(value) => value !== undefined && set(value)}
        />
      )}
      {random && (
        <>
          <NumberInput
            label="Around (°)"
            value={random.around as number}
            required
            onSet={(value) => value !== undefined && set({ ...random, around: value })}
          />
          <NumberInput
            label="Plus or minus (°)"
            value={random.spread as number}
            min={0}
            required
            onSet={(value) => value !== undefined && set({ ...random, spread: value })}
          />
        </>
      )}
    </>
  );
}

function degOf(name: string, to: unknown): number | undefined {
  if (typeof to === 'number') return to;
  if (typeof to !== 'string') return undefined;
  const [first = name] = groups.value[name] ?? [name];
  return channels.value[first]?.marks?.[to];
}

function ColourTarget({ name, to, at }: { name: string; to: string; at: number }) {
  const target = useComputed(() => hexOf(recordOf(steps.value[at]?.colour)[name]));
  return (
    <>
      <p>
        <span class="swatch" aria-hidden="true" style={`background:${to}`} /> {to}
      </p>
      <details class="colour-fold">
        <summary>
          Choose a colour<span class="unseen"> for {name}</span>
        </summary>
        <div class="colour-pick">
          <ColourParts
            channel={name}
            target={target}
            set={async (colour) => {
              edit(setTarget(steps.peek(), at, 'colour', name, colour), `colour ${at} ${name}`);
              return undefined;
            }}
          />
        </div>
      </details>
    </>
  );
}

const canvas = document.createElement('canvas').getContext('2d', { willReadFrequently: true });

/** Any CSS colour as `#rrggbb`, as near as the screen has it. */
function hexOf(colour: unknown): string {
  const text = String(colour ?? '');
  if (/^#[0-9a-f]{6}$/i.test(text)) return text.toLowerCase();
  if (!canvas || !CSS.supports('color', text)) return '#000000';
  canvas.fillStyle = text;
  canvas.fillRect(0, 0, 1, 1);
  const [red = 0, green = 0, blue = 0] = canvas.getImageData(0, 0, 1, 1).data;
  return `#${[red, green, blue].map((one) => one.toString(16).padStart(2, '0')).join('')}`;
}

/** Takes over what the channel, or each of a group, shows at this moment. */
function Now({ part, name, at }: TargetProps) {
  const members = (groups.value[name] ?? [name]).filter((one) => channels.value[one]);
  const can = useComputed(
    () => members.length > 0 && members.every((one) => !isUnknown(stateOf(one).value)),
  );
  const isGroup = groups.value[name] !== undefined;
  return (
    <Act
      can={can.value}
      aria-label={`As it stands now: ${name}`}
      onAct={() => {
        let now = steps.peek();
        for (const one of members)
          now = setTarget(now, at, part, one, valueFor(part, stateOf(one).peek().value));
        // Each member has a value of its own then.
        if (isGroup) now = setTarget(now, at, part, name, undefined);
        edit(now);
      }}
    >
      As it stands now
    </Act>
  );
}

function valueFor(part: Part, value: unknown): unknown {
  if (part === 'move') return tidy(Number(value), 1);
  if (part === 'dim') return tidy(Number(value), 3);
  if (part === 'switch') return value ? 'on' : 'off';
  return String(value);
}

// --- waits and cues ---------------------------------------------------------------------------------

function Until({ step, at }: { step: Step; at: number }) {
  const until = recordOf(step.until);
  const name = String(until.channel);
  const all = known.value.channels;
  const part = all[name]?.part;
  const names = Object.keys(all).filter((one) => ['move', 'switch'].includes(all[one]!.part ?? ''));
  const set = (change: Record<string, unknown>) => {
    const merged = Object.entries({ ...until, ...change }).filter(
      ([, value]) => value !== undefined,
    );
    edit(setKey(steps.peek(), at, 'until', Object.fromEntries(merged)));
  };
  const side = until.above !== undefined ? 'above' : until.below !== undefined ? 'below' : 'is';
  return (
    <Fieldset legend="Wait" onRemove={() => edit(dropPart(steps.peek(), at, 'until'))}>
      <Select
        class="field"
        label="Wait for"
        value={name}
        options={names}
        onPick={(channel) => {
          const toServo = all[channel]?.part === 'move';
          set({
            channel,
            above: toServo ? middleOf(limitsOf(channel, known.peek())) : undefined,
            below: undefined,
            is: toServo ? undefined : 'on',
          });
        }}
      />
      {part === 'move' ? (
        <>
          <Select
            class="field"
            label="to be"
            value={side}
            options={['above', 'below']}
            onPick={(now) => {
              const deg = until[side] ?? 0;
              set({
                above: now === 'above' ? deg : undefined,
                below: now === 'below' ? deg : undefined,
              });
            }}
          />
          <NumberInput
            label="Angle (°)"
            value={until[side] as number | undefined}
            required
            onSet={(value) => value !== undefined && set({ [side]: value })}
          />
        </>
      ) : (
        <Select
          class="field"
          label="to be"
          value={isOn(until.is) ? 'on' : 'off'}
          options={['on', 'off']}
          onPick={(is) => set({ is })}
        />
      )}
      <NumberInput
        label="For at most (s)"
        value={until.withinS as number | undefined}
        min={0.01}
        required
        onSet={(value) => value !== undefined && set({ withinS: value })}
      />
      <Select
        class="field"
        label="Otherwise"
        value={String(until.otherwise ?? 'end')}
        options={[
          ['end', 'the cue ends'],
          ['go on', 'it goes on'],
          ['park', 'the prop parks'],
        ]}
        onPick={(value) => set({ otherwise: value === 'end' ? undefined : value })}
      />
    </Fieldset>
  );
}

function Inner({ step, at }: { step: Step; at: number }) {
  const id = useId();
  const others = known.value.cues.filter((one) => one !== cue.value && inFile(one));
  const chosen = Array.isArray(step.choose) ? (step.choose as string[]) : [];
  const part = step.cue !== undefined ? 'cue' : 'choose';
  return (
    <Fieldset
      legend={part === 'cue' ? 'Another cue' : 'One of some cues'}
      onRemove={() => edit(dropPart(steps.peek(), at, part))}
    >
      {part === 'cue' ? (
        <Select
          class="field"
          label="Cue"
          value={String(step.cue)}
          options={others}
          onPick={(value) => edit(setKey(steps.peek(), at, 'cue', value))}
        />
      ) : (
        <fieldset class="bare" aria-labelledby={id}>
          <p id={id}>Each time one of these, at random; at least two:</p>
          {[...new Set([...chosen, ...others])].map((one) => (
            <Tick
              key={one}
              checked={chosen.includes(one)}
              disabled={chosen.includes(one) && chosen.length <= 2}
              onTick={(checked) =>
                edit(
                  setKey(
                    steps.peek(),
                    at,
                    'choose',
                    checked ? [...chosen, one] : chosen.filter((name) => name !== one),
                  ),
                )
              }
            >
              {one}
            </Tick>
          ))}
        </fieldset>
      )}
      <Runs step={step} at={at} />
    </Fieldset>
  );
}

/** How often a cue within this one runs, or a take plays. */
function Runs({ step, at }: { step: Step; at: number }) {
  const { times: runs } = step;
  const endless = runs === 'until stopped';
  return (
    <>
      {!endless && (
        <NumberInput
          label="Number of times"
          value={typeof runs === 'number' ? runs : 1}
          min={1}
          max={10_000}
          whole
          required
          onSet={(value) =>
            edit(setKey(steps.peek(), at, 'times', value === 1 ? undefined : value))
          }
        />
      )}
      <Tick
        checked={endless}
        onTick={(checked) =>
          edit(setKey(steps.peek(), at, 'times', checked ? 'until stopped' : undefined))
        }
      >
        In a loop, until it is stopped
      </Tick>
    </>
  );
}

/** A recorded movement, played. */
function Take({ step, at }: { step: Step; at: number }) {
  return (
    <Fieldset legend="Take" onRemove={() => edit(dropPart(steps.peek(), at, 'take'))}>
      <Select
        class="field"
        label="Take"
        value={String(step.take)}
        options={known.value.takes}
        onPick={(value) => edit(setKey(steps.peek(), at, 'take', value))}
      />
      <NumberInput
        label="Speed, 1 is as performed"
        value={typeof step.rate === 'number' ? step.rate : 1}
        min={0.1}
        max={10}
        required
        onSet={(value) => edit(setKey(steps.peek(), at, 'rate', value === 1 ? undefined : value))}
      />
      {step.cue === undefined && step.choose === undefined && <Runs step={step} at={at} />}
    </Fieldset>
  );
}

// --- more parts -------------------------------------------------------------------------------------

function AddPart({ step, at }: { step: Step; at: number }) {
  const of = known.value;
  const taken = new Set(PARTS.flatMap((part) => Object.keys(recordOf(step[part]))));
  const targets = [...Object.keys(of.groups), ...Object.keys(of.channels)].filter(
    (name) => !taken.has(name) && newTarget(name, of),
  );
  const cues = of.cues.filter((one) => one !== cue.value && inFile(one));
  const others = [
    ...(of.poses.length > 0 && step.pose === undefined ? (['pose'] as const) : []),
    ...(of.takes.length > 0 && step.take === undefined ? (['take'] as const) : []),
    ...(newUntil(of) && step.until === undefined ? (['until'] as const) : []),
    ...(cues.length > 0 && step.cue === undefined && step.choose === undefined
      ? (['cue'] as const)
      : []),
    ...(cues.length > 1 && step.cue === undefined && step.choose === undefined
      ? (['choose'] as const)
      : []),
  ];
  return (
    <Select
      class="field"
      label="Add to this step"
      value=""
      options={[
        { group: 'Channels and groups', options: targets },
        {
          group: rowWords(FLOW_ROW),
          options: others.map((one) => [`/${one}`, OTHERS[one]] as const),
        },
      ]}
      onPick={(value) => {
        const now = steps.peek();
        if (value === '/pose') edit(setKey(now, at, 'pose', of.poses[0]));
        else if (value === '/take') edit(setKey(now, at, 'take', of.takes[0]));
        else if (value === '/until') edit(setKey(now, at, 'until', newUntil(of)));
        else if (value === '/cue') edit(setKey(now, at, 'cue', cues[0]));
        else if (value === '/choose') edit(setKey(now, at, 'choose', cues.slice(0, 2)));
        else {
          const target = newTarget(value, of);
          if (target) edit(setTarget(now, at, target.part, value, target.to));
        }
      }}
    />
  );
}
