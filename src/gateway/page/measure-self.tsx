import { type Signal, useSignal } from '@preact/signals';
import { useMemo } from 'preact/hooks';
import type { MeasurePart } from '../../api/methods/measure.ts';
import { systemClock } from '../../shared/clock.ts';
import { Act } from './act.tsx';
import { degText, rangeText } from './bench-moves.ts';
import { freeRunningText } from './bench-numbers.tsx';
import { forPeople } from './for-people.ts';
import { useHoldButton } from './hold-button.ts';
import { call } from './link.ts';
import { MeasureHold, type MeasureState } from './measure-hold.ts';
import { WAITS } from './measure-write.tsx';
import { today } from './measured.ts';
import type { ChannelProps } from './page-kind.ts';
import { commanding, holding, write } from './store.ts';

const BUTTONS = [
  ['ends', 'Hold to find both ends'],
  ['current', 'Hold to measure it running free'],
] as const;

/** Measured by itself, by the servo's own current, while a button is held. */
export function MeasureSelf({ channel, info }: ChannelProps) {
  const say = useSignal('');
  return (
    <section class="sheet" aria-labelledby="measure-self">
      <h2 id="measure-self">Measured by itself</h2>
      <p>
        With a current sensor in its own plus wire, the servo measures itself while you hold a
        button: where it can turn no further, and what it draws running free.
      </p>
      <p class="caution">
        It moves by itself, both ways, and pushes for a moment against what it meets. Keep fingers,
        hair and cables out. Let go at any time: it stops and backs off.
      </p>
      <p class="hint">Running free: {freeRunningText(info)}.</p>
      {BUTTONS.map(([what, label]) => (
        <MeasureButton key={what} channel={channel} what={what} label={label} say={say} />
      ))}
      <p role="status" class="message">
        {say}
      </p>
    </section>
  );
}

interface ButtonProps {
  channel: string;
  what: MeasureState['what'];
  label: string;
  say: Signal<string>;
}

function MeasureButton({ channel, what, label, say: given }: ButtonProps) {
  const message = useSignal('');
  const held = useSignal(false);
  const state = useSignal<MeasureState | undefined>(undefined);
  const run = useMemo(
    () =>
      new MeasureHold({
        clock: systemClock,
        begin: () => call('measure.begin', { channel, what }),
        hold: (id) => call('measure.hold', { run: id }),
        release: (id) => call('measure.release', { run: id }),
        changed: (now, isHeld, why) => {
          held.value = isHeld;
          if (now || isHeld) state.value = now;
          if (why) message.value = forPeople(why);
          else if (now) message.value = stateText(now);
          given.value = '';
        },
      }),
    [channel, what, held, state, message, given],
  );
  const button = useHoldButton(run, message);
  const found = state.value;
  return (
    <>
      <p class="row">
        <button
          type="button"
          class={held.value ? 'primary is-held' : 'primary'}
          aria-disabled={!commanding.value}
          {...button.props(() => run.press())}
        >
          {label}
        </button>
      </p>
      <p class="message" role="status">
        {message}
      </p>
      {found && !found.running && !found.ended && <Found state={found} say={given} />}
    </>
  );
}

function stateText({ running, value, ranS, ended }: MeasureState): string {
  if (ended) return `Nothing is proposed: ${forPeople(ended.reason)}.`;
  if (running) return `At ${degText(value)}, ${ranS.toFixed(0)} s.`;
  return `Measured in ${ranS.toFixed(0)} s.`;
}

/** What was measured, each part with its button, and one for all of it. */
function Found({ state, say }: { state: MeasureState; say: Signal<string> }) {
  const busy = useSignal(false);
  const done = useSignal<readonly string[]>(state.accepted ?? []);
  const rows = rowsOf(state);
  const accept = async (parts: MeasurePart[]) => {
    busy.value = true;
    const what = `what was measured of ${state.channel}`;
    const result = await write(what, 'measure.accept', { run: state.run, parts, date: today() });
    busy.value = false;
    if (!result) {
      say.value = 'Not written. What was measured is still here.';
      return;
    }
    done.value = result.accepted ?? [];
    say.value = result.pending ? WAITS : 'Written to the prop file, and it counts now.';
  };
  const left = rows.filter(({ part }) => !done.value.includes(part)).map(({ part }) => part);
  const can = holding.value && !busy.value;
  return (
    <>
      <ul class="measure-list" aria-label="What was measured">
        {rows.map(({ part, text }) => (
          <li key={part}>
            <span class="number">{text}</span>
            <Act can={can && !done.value.includes(part)} onAct={() => void accept([part])}>
              {done.value.includes(part) ? 'Written' : 'Write this'}
            </Act>
          </li>
        ))}
      </ul>
      {state.ends && <p class="hint">{endsText(state.ends)}</p>}
      <p class="row decision">
        <Act class="primary" can={can && left.length > 0} onAct={() => void accept(left)}>
          Write all of it
        </Act>
      </p>
    </>
  );
}

function rowsOf({ current, proposed }: MeasureState): { part: MeasurePart; text: string }[] {
  const rows: { part: MeasurePart; text: string }[] = [];
  if (current)
    rows.push({
      part: 'current',
      text: `Running free: ${current.risingA.toFixed(2)} A up, ${current.fallingA.toFixed(2)} A down; backs off from ${current.pushOverA.toFixed(2)} A more`,
    });
  if (!proposed) return rows;
  const { limitsDeg, envelopeUs, marks, pushAboveA } = proposed;
  const [low, high] = limitsDeg ?? [];
  if (low !== undefined && high !== undefined)
    rows.push({ part: 'limits', text: `Soft limits: ${rangeText([low, high])}` });
  if (envelopeUs)
    rows.push({ part: 'envelope', text: `Pulse envelope: ${envelopeUs.join(' to ')} us` });
  if (marks) {
    const list = Object.entries(marks).map(([mark, deg]) => `${mark} ${degText(deg)}`);
    rows.push({ part: 'marks', text: `Marks: ${list.join(', ')}` });
  }
  if (pushAboveA !== undefined)
    rows.push({ part: 'push', text: `Backs off above ${pushAboveA.toFixed(2)} A` });
  return rows;
}

/** Where it met something, and how much stronger the servo is than what it has to move. */
function endsText({ low, high, torqueMargin }: NonNullable<MeasureState['ends']>): string {
  const end = ({ deg, stop }: typeof low) =>
    stop ? `a stop at ${degText(deg)}` : `no stop up to ${degText(deg)}, where the envelope ends`;
  const margin =
    torqueMargin === undefined
      ? ''
      : ` By its currents the servo is ${torqueMargin} times as strong as the way needs.`;
  return `Low: ${end(low)}. High: ${end(high)}.${margin}`;
}
