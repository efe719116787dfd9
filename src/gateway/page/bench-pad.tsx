import { type ReadonlySignal, type Signal, useSignal, useSignalEffect } from '@preact/signals';
import type { ButtonHTMLAttributes, ComponentChildren } from 'preact';
import { useEffect, useMemo, useRef } from 'preact/hooks';
import type { ChannelInfo } from '../../api/types.ts';
import { systemClock } from '../../shared/clock.ts';
import { Act } from './act.tsx';
import { degText, SLOW_DEG_S } from './bench-moves.ts';
import { Reading } from './bench-numbers.tsx';
import { useReadiness } from './bench-ready.tsx';
import { forPeople } from './for-people.ts';
import { type Direction, Hold } from './hold.ts';
import { useHoldButton } from './hold-button.ts';
import { call } from './link.ts';
import { useOneAtATime } from './one-at-a-time.ts';
import { commanding, stateOf } from './store.ts';
import { Tick } from './tick.tsx';

const STEPS_DEG = [0.1, 1, 5] as const;
const SPEEDS = [
  { degS: 2, label: 'slow, 2 deg/s' },
  { degS: 5, label: 'medium, 5 deg/s' },
  { degS: 10, label: 'fast, 10 deg/s' },
] as const;

const WAYS: Record<Direction, { word: string; key: string; sign: string }> = {
  [-1]: { word: 'low', key: 'L', sign: '◀' },
  1: { word: 'high', key: 'H', sign: '▶' },
};

/** What can be used of the screen. */
export type Hands = 'feel' | 'jog' | 'none';

interface ThumbProps {
  channel: string;
  info: ChannelInfo;
  /** Above the angle: what this is about. */
  head?: ComponentChildren;
  /** What writes, or decides: it stands above the keys and bars that move. */
  capture: ComponentChildren;
  /** What was done, or why not. */
  say: Signal<string>;
  /** Jogs may leave the soft limits. */
  beyondLimits?: boolean;
  /** To feel for the stop, with hold-to-run; to jog alone; or nothing that moves. */
  hands: Hands;
  /** Something else moves the servo: nothing here does meanwhile. */
  busy?: ReadonlySignal<boolean>;
}

/**
 * One screen of a phone for one hand: the angle above, what writes in the middle, what moves below,
 * the larger the nearer to the thumb. It moves by buttons and by keys.
 */
export function Thumb(props: ThumbProps) {
  const { channel, info, head, capture, say, beyondLimits = false, hands, busy } = props;
  const root = useRef<HTMLElement>(null);
  const feel = hands === 'feel';
  const jog = useJog(channel, beyondLimits, say, busy);
  const hold = useHold(channel, info, say, busy);
  const can = commanding.value && !busy?.value;

  useEffect(() => {
    const element = root.current!;
    const onKey = (event: KeyboardEvent) => {
      // Any other key ends a hold, even one that means nothing here.
      if (hold.run.direction !== 0) {
        if (!event.repeat) hold.run.stop();
        event.preventDefault();
        return;
      }
      if (hands === 'none' || isForOther(event.target)) return;
      const jogDeg = jogOf(event);
      if (jogDeg !== undefined) {
        event.preventDefault();
        // Held down, the keyboard repeats: one press is one step.
        if (!event.repeat) jog(jogDeg);
        return;
      }
      const way = feel ? wayOf(event) : undefined;
      if (way === undefined) return;
      event.preventDefault();
      if (!event.repeat) hold.key(way);
    };
    element.addEventListener('keydown', onKey);
    return () => element.removeEventListener('keydown', onKey);
  });

  return (
    <section
      class={`sheet pad thumb has-${hands}`}
      ref={root}
      aria-label={hands === 'none' ? `${channel} moves by itself` : `Move ${channel} by hand`}
    >
      <div class="thumb-see">
        {head}
        <Reading channel={channel} info={info} />
      </div>
      <div class="thumb-do">
        <Say say={say} movesAlone={hands === 'none'} />
        {feel && !head && <Options hold={hold} />}
        <div class="thumb-capture">{capture}</div>
        {hands !== 'none' && (
          <div class="pad-jogs">
            {([-1, 1] as const).map((way) => (
              <div key={way} class="pad-way">
                {(way < 0 ? STEPS_DEG.toReversed() : STEPS_DEG).map((step) => (
                  <Act
                    key={step}
                    can={can}
                    aria-label={`Jog by ${way < 0 ? 'minus' : 'plus'} ${step} deg`}
                    onAct={() => jog(way * step)}
                  >
                    {way < 0 ? '−' : '+'}
                    {step}
                  </Act>
                ))}
              </div>
            ))}
          </div>
        )}
        {feel && (
          <div class="holds">
            {([-1, 1] as const).map((way) => (
              <HoldBar key={way} way={way} hold={hold} can={can} />
            ))}
          </div>
        )}
        {feel && head && <Options hold={hold} />}
        {hands !== 'none' && <Keys channel={channel} feel={feel} />}
      </div>
    </section>
  );
}

/** What was said last, in the place of the caution: nothing shifts when it comes. */
function Say({ say, movesAlone }: { say: Signal<string>; movesAlone: boolean }) {
  const readiness = useReadiness();
  return (
    <div class="thumb-say">
      <p role="status" class="message">
        {say}
      </p>
      {readiness.value ? (
        <p class="thumb-note">{readiness}</p>
      ) : (
        <p class="thumb-note caution">
          {movesAlone
            ? `It moves by itself, at ${SLOW_DEG_S} deg/s at most: fingers out, a hand near Stop.`
            : 'It can pinch: fingers out of the hinge, a hand on the power switch.'}
        </p>
      )}
    </div>
  );
}

/** Only where there is a keyboard: the style shows it. */
function Keys({ channel, feel }: { channel: string; feel: boolean }) {
  return (
    <div
      class="pad-keys"
      role="application"
      // biome-ignore lint/a11y/noNoninteractiveTabindex: the keys below work while it has the focus
      tabIndex={0}
      aria-label={`Keys for ${channel}`}
      aria-describedby="pad-keys-hint"
    >
      <p id="pad-keys-hint" class="hint">
        Keys, while the focus is in this box: <kbd>←</kbd> <kbd>→</kbd> 1 deg, with <kbd>Shift</kbd>{' '}
        5, with <kbd>Ctrl</kbd> 0.1
        {feel && (
          <>
            ; hold <kbd>L</kbd> or <kbd>H</kbd> to feel towards low or high
          </>
        )}
        .
      </p>
    </div>
  );
}

function Options({ hold }: { hold: HoldControl }) {
  return (
    <div class="thumb-options">
      <select
        aria-label="Speed"
        value={hold.speedDegS.value}
        onChange={(event) => {
          hold.speedDegS.value = Number(event.currentTarget.value);
        }}
      >
        {SPEEDS.map(({ degS, label }) => (
          <option key={degS} value={degS}>
            {label}
          </option>
        ))}
      </select>
      <Tick
        checked={hold.stopOnPush.value}
        onTick={(checked) => {
          hold.stopOnPush.value = checked;
        }}
      >
        Stop when it pushes
      </Tick>
    </div>
  );
}

/** Hold-to-run: it moves only while it is held, beyond the soft limits if need be. */
function HoldBar({ way, hold, can }: { way: Direction; hold: HoldControl; can: boolean }) {
  const { word, key, sign } = WAYS[way];
  const isRunning = hold.direction.value === way;
  return (
    <button
      type="button"
      class={`hold ${isRunning ? 'is-running' : ''}`}
      aria-disabled={!can}
      {...hold.bar(way)}
    >
      <span>
        <span aria-hidden="true">{sign}</span> Towards {word}
      </span>
      <small>
        {isRunning ? (
          'moving'
        ) : (
          <>
            hold
            <span class="for-keys">
              , or key <kbd>{key}</kbd>
            </span>
          </>
        )}
      </small>
    </button>
  );
}

interface HoldControl {
  run: Hold;
  /** A key goes down. */
  key(way: Direction): void;
  /** What makes a button a bar. */
  bar(way: Direction): ButtonHTMLAttributes<HTMLButtonElement>;
  /** The way in which it moves now. */
  direction: Signal<Direction | 0>;
  speedDegS: Signal<number>;
  stopOnPush: Signal<boolean>;
}

/** Hold-to-run towards either stop. */
function useHold(
  channel: string,
  info: ChannelInfo,
  message: Signal<string>,
  busy: ReadonlySignal<boolean> | undefined,
): HoldControl {
  const direction = useSignal<Direction | 0>(0);
  const speedDegS = useSignal<number>(SPEEDS[1].degS);
  const stopOnPush = useSignal(true);
  const fastest = info.speedDegS ?? Number.POSITIVE_INFINITY;
  const run = useMemo(
    () =>
      new Hold({
        clock: systemClock,
        step: (byDeg) => call('channel.jog', { channel, byDeg, beyondLimits: true }),
        positionDeg: () => stateOf(channel).peek().value as number,
        changed: (way, why) => {
          direction.value = way;
          message.value = forPeople(why);
        },
      }),
    // Another speed limit ends what runs at the one before.
    [channel, fastest, direction, message],
  );
  const button = useHoldButton(run, message, busy);
  const start = (way: Direction) => () => {
    const speed = Math.min(speedDegS.peek(), fastest);
    run.press(way, { speedDegS: speed, stopOnPush: stopOnPush.peek() });
  };
  const state = stateOf(channel);
  useSignalEffect(() => {
    const { pushing = false, measuredDeg, value } = state.value;
    const towards = measuredDeg === undefined ? 0 : Math.sign((value as number) - measuredDeg);
    run.sense(pushing, towards as Direction | 0);
  });
  return {
    run,
    key: (way) => button.key(start(way)),
    bar: (way) => button.props(start(way)),
    direction,
    speedDegS,
    stopOnPush,
  };
}

/** Jogs, and says why it could not or went no further. */
function useJog(
  channel: string,
  beyondLimits: boolean,
  message: Signal<string>,
  busy: ReadonlySignal<boolean> | undefined,
) {
  const alone = useOneAtATime();
  const jog = async (byDeg: number) => {
    try {
      const { target, limited } = await call('channel.jog', {
        channel,
        byDeg,
        ...(beyondLimits && { beyondLimits }),
      });
      const limit = beyondLimits ? 'pulse envelope' : 'soft limit';
      message.value = limited ? `At its ${limit}: ${degText(target)}.` : '';
    } catch (error) {
      message.value = forPeople((error as Error).message);
    }
  };
  return (byDeg: number): void => {
    if (commanding.value && !busy?.value) void alone(() => jog(byDeg));
  };
}

/** Keys there write, choose or decide. */
function isForOther(target: EventTarget | null): boolean {
  return (
    target instanceof Element &&
    target.closest('input, select, textarea, .thumb-capture, .thumb-see') !== null
  );
}

function jogOf(event: KeyboardEvent): number | undefined {
  if (event.altKey || event.metaKey) return undefined;
  const way = { ArrowLeft: -1, ArrowDown: -1, ArrowRight: 1, ArrowUp: 1 }[event.key];
  if (way === undefined) return undefined;
  return way * (event.shiftKey ? 5 : event.ctrlKey ? 0.1 : 1);
}

function wayOf(event: KeyboardEvent): Direction | undefined {
  if (event.altKey || event.metaKey || event.ctrlKey || event.shiftKey) return undefined;
  const key = event.key.toUpperCase();
  return ([-1, 1] as const).find((way) => WAYS[way].key === key);
}
