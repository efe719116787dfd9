import { type Signal, useSignal, useSignalEffect } from '@preact/signals';
import { useEffect, useMemo, useRef } from 'preact/hooks';
import type { ChannelInfo } from '../../api/types.ts';
import { systemClock } from '../../shared/clock.ts';
import { degText } from './bench-moves.ts';
import { Glance } from './bench-numbers.tsx';
import { type Direction, Hold } from './hold.ts';
import { call, linkState } from './link.ts';
import { commanding, stateOf } from './store.ts';

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

interface PadProps {
  channel: string;
  info: ChannelInfo;
  /** Jogs may leave the soft limits. */
  beyondLimits?: boolean;
  /** With hold-to-run, to feel for the stop. */
  feel?: boolean;
}

/** Moves a servo by hand: jog steps, and hold-to-run, by buttons and by keys. */
export function Pad({ channel, info, beyondLimits = false, feel = false }: PadProps) {
  const message = useSignal('');
  const root = useRef<HTMLElement>(null);
  const jog = useJog(channel, beyondLimits, message);
  const hold = useHold(channel, info, message);
  const enabled = commanding.value;

  useEffect(() => {
    const element = root.current!;
    const onKey = (event: KeyboardEvent) => {
      if (isTyping(event.target)) return;
      // Any other key ends a hold, even one that means nothing here.
      if (hold.run.direction !== 0) {
        if (!event.repeat) hold.run.stop();
        event.preventDefault();
        return;
      }
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
      if (!event.repeat) hold.press(way, 'key');
    };
    element.addEventListener('keydown', onKey);
    return () => element.removeEventListener('keydown', onKey);
  });

  return (
    <section class="pad" ref={root} aria-label={`Move ${channel} by hand`}>
      <div
        class="pad-keys"
        role="application"
        // biome-ignore lint/a11y/noNoninteractiveTabindex: the keys below work while it has the focus
        tabIndex={0}
        aria-label={`Keys for ${channel}`}
        aria-describedby="pad-keys-hint"
      >
        <p id="pad-keys-hint" class="hint">
          Keys, while the focus is in this box: <kbd>←</kbd> <kbd>→</kbd> 1 deg, with{' '}
          <kbd>Shift</kbd> 5, with <kbd>Ctrl</kbd> 0.1
          {feel && (
            <>
              ; hold <kbd>L</kbd> or <kbd>H</kbd> to feel towards low or high
            </>
          )}
          .
        </p>
      </div>
      <h3>Jog</h3>
      <div class="pad-jogs">
        {([-1, 1] as const).map((way) => (
          <div key={way} class="pad-way">
            {(way < 0 ? STEPS_DEG.toReversed() : STEPS_DEG).map((step) => (
              <button
                key={step}
                type="button"
                disabled={!enabled}
                aria-label={`Jog by ${way < 0 ? 'minus' : 'plus'} ${step} deg`}
                onClick={() => jog(way * step)}
              >
                {way < 0 ? '−' : '+'}
                {step}
              </button>
            ))}
          </div>
        ))}
      </div>
      {feel && <Feel channel={channel} hold={hold} enabled={enabled} />}
      <p role="status" class="message">
        {message}
      </p>
    </section>
  );
}

function Feel(props: { channel: string; hold: HoldControl; enabled: boolean }) {
  const { channel, hold, enabled } = props;
  return (
    <>
      <h3>Feel for the stop</h3>
      <p class="caution">
        It can pinch: fingers out of hinges and linkages. Keep a hand on the switch that cuts the
        power.
      </p>
      <p class="hint" id="hold-hint">
        It moves only while you hold the button, beyond the soft limits if need be.
      </p>
      <Glance channel={channel} />
      <div class="holds">
        {([-1, 1] as const).map((way) => (
          <HoldButton key={way} way={way} hold={hold} enabled={enabled} />
        ))}
      </div>
      <div class="row">
        <label>
          Speed{' '}
          <select
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
        </label>
        <label class="check">
          <input
            type="checkbox"
            checked={hold.stopOnPush.value}
            onChange={(event) => {
              hold.stopOnPush.value = event.currentTarget.checked;
            }}
          />
          Stop when it pushes
        </label>
      </div>
    </>
  );
}

function HoldButton({
  way,
  hold,
  enabled,
}: {
  way: Direction;
  hold: HoldControl;
  enabled: boolean;
}) {
  const { word, key, sign } = WAYS[way];
  const isRunning = hold.direction.value === way;
  return (
    <button
      type="button"
      class={`hold ${isRunning ? 'is-running' : ''}`}
      disabled={!enabled}
      aria-describedby="hold-hint"
      onPointerDown={(event) => {
        if (event.button !== 0) return;
        // A finger that slides off must be noticed: touch captures the pointer by itself.
        const { currentTarget, pointerId } = event;
        if (currentTarget.hasPointerCapture(pointerId))
          currentTarget.releasePointerCapture(pointerId);
        hold.press(way, event.pointerType === 'mouse' ? 'mouse' : 'touch');
      }}
      onPointerUp={() => hold.run.stop()}
      onPointerCancel={() => hold.run.stop()}
      onPointerLeave={() => hold.run.stop()}
      onContextMenu={(event) => {
        // A long press of a finger asks for a menu, too.
        if (hold.by === 'touch') event.preventDefault();
      }}
      onKeyDown={(event) => {
        if (event.key !== ' ' && event.key !== 'Enter') return;
        event.preventDefault();
        event.stopPropagation();
        if (!event.repeat) hold.press(way, 'key');
      }}
    >
      <span aria-hidden="true">{sign}</span> Towards {word}
      <small>
        {isRunning ? (
          'moving'
        ) : (
          <>
            hold, or key <kbd>{key}</kbd>
          </>
        )}
      </small>
    </button>
  );
}

interface HoldControl {
  run: Hold;
  press(way: Direction, by: Holder): void;
  /** The way in which it moves now. */
  direction: Signal<Direction | 0>;
  speedDegS: Signal<number>;
  stopOnPush: Signal<boolean>;
  /** What holds it, or held it last. */
  by: Holder;
}

type Holder = 'key' | 'mouse' | 'touch';

/** Hold-to-run with everything that must end it. */
function useHold(channel: string, info: ChannelInfo, message: Signal<string>): HoldControl {
  const direction = useSignal<Direction | 0>(0);
  const speedDegS = useSignal<number>(SPEEDS[1].degS);
  const stopOnPush = useSignal(true);
  const fastest = info.speedDegS ?? Number.POSITIVE_INFINITY;
  const control = useMemo<HoldControl>(() => {
    const run = new Hold({
      clock: systemClock,
      step: (byDeg) => call('channel.jog', { channel, byDeg, beyondLimits: true }),
      positionDeg: () => stateOf(channel).peek().value as number,
      changed: (way, why) => {
        direction.value = way;
        message.value = why;
      },
    });
    const press = (way: Direction, by: Holder) => {
      if (!commanding.peek()) return;
      made.by = by;
      const speed = Math.min(speedDegS.peek(), fastest);
      run.press(way, { speedDegS: speed, stopOnPush: stopOnPush.peek() });
    };
    const made: HoldControl = { run, press, direction, speedDegS, stopOnPush, by: 'mouse' };
    return made;
  }, [channel, fastest]);

  useSignalEffect(() => {
    if (linkState.value !== 'open') control.run.stop('The link is lost, so it stopped.');
    else if (!commanding.value) control.run.stop('This page may not move the prop any more.');
  });
  const state = stateOf(channel);
  useSignalEffect(() => {
    const { pushing = false, measuredDeg, value } = state.value;
    const towards = measuredDeg === undefined ? 0 : Math.sign((value as number) - measuredDeg);
    control.run.sense(pushing, towards as Direction | 0);
  });
  useEffect(() => {
    const { run } = control;
    const release = () => run.stop();
    const away = () => run.stop('The page lost your attention, so it stopped.');
    const onVisibility = () => {
      if (document.hidden) away();
    };
    const onMenu = () => {
      if (control.by !== 'touch') run.stop();
    };
    // A key that goes up after the focus has left is not heard of. A mouse takes the focus by itself.
    const onFocusOut = () => {
      if (control.by === 'key') run.stop();
    };
    addEventListener('keyup', release, true);
    addEventListener('pointerup', release, true);
    addEventListener('pointercancel', release, true);
    addEventListener('blur', away);
    addEventListener('pagehide', away);
    addEventListener('focusout', onFocusOut);
    addEventListener('contextmenu', onMenu, true);
    document.addEventListener('visibilitychange', onVisibility);
    return () => {
      run.stop();
      removeEventListener('keyup', release, true);
      removeEventListener('pointerup', release, true);
      removeEventListener('pointercancel', release, true);
      removeEventListener('blur', away);
      removeEventListener('pagehide', away);
      removeEventListener('focusout', onFocusOut);
      removeEventListener('contextmenu', onMenu, true);
      document.removeEventListener('visibilitychange', onVisibility);
    };
  }, [control]);
  return control;
}

/** Jogs with one request under way at a time: what comes meanwhile is left out, never queued. */
function useJog(channel: string, beyondLimits: boolean, message: Signal<string>) {
  const isBusy = useRef(false);
  return async (byDeg: number): Promise<void> => {
    if (isBusy.current || !commanding.value) return;
    isBusy.current = true;
    try {
      const { target, limited } = await call('channel.jog', {
        channel,
        byDeg,
        ...(beyondLimits && { beyondLimits }),
      });
      const limit = beyondLimits ? 'pulse envelope' : 'soft limit';
      message.value = limited ? `At its ${limit}: ${degText(target)}.` : '';
    } catch (error) {
      message.value = (error as Error).message;
    } finally {
      isBusy.current = false;
    }
  };
}

function isTyping(target: EventTarget | null): boolean {
  return target instanceof Element && target.closest('input, select, textarea') !== null;
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
