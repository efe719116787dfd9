import './cues-perform.css';
import { useComputed, useSignal } from '@preact/signals';
import { useEffect } from 'preact/hooks';
import { Act } from './act.tsx';
import { degText } from './bench-moves.ts';
import { Readiness } from './bench-ready.tsx';
import {
  arm,
  armed,
  following,
  free,
  gripped,
  holdButton,
  led,
  rangeFor,
  said,
  setHoldButton,
  setLed,
  usable,
  watchHands,
} from './cues-perform-data.ts';
import {
  AXES,
  gamepad,
  HOLD_BUTTONS,
  holdTilt,
  isByGamepad,
  letGoTilt,
  TRIGGERS,
  tiltHeld,
  watchGamepad,
  watchKeys,
  watchTilt,
} from './cues-perform-hands.ts';
import { freeKeys, type Leader, type Led, partnerOf, withKeyAt } from './cues-perform-map.ts';
import { Pad, Slider } from './cues-perform-pads.tsx';
import { Record, RecordingHere } from './cues-perform-record.tsx';
import { Takes } from './cues-perform-review.tsx';
import { forPeople } from './for-people.ts';
import { Select } from './select.tsx';
import { channels, commanding, stateOf } from './store.ts';
import { Tick } from './tick.tsx';
import { startTilt, stopTilt, tilt } from './tilt-source.ts';
import { typedNumber } from './typed-number.ts';

/** Servos led by hand, and what they did recorded as a take. */
export function Perform() {
  useEffect(() => {
    const ends = [watchHands(), watchKeys(), watchGamepad(), watchTilt()];
    return () => {
      for (const end of ends) end();
    };
  }, []);
  return (
    <div class="perform">
      <div>
        <Controls />
        <SetUp />
      </div>
      <div>
        <Record />
        <Takes />
      </div>
    </div>
  );
}

// --- what moves ---------------------------------------------------------------------------------

function Controls() {
  const list = usable.value;
  const by = (what: string) => list.filter((one) => one.by.startsWith(what));
  const can = commanding.value && list.length > 0;
  return (
    <section class="sheet" aria-labelledby="lead">
      <h2 id="lead">Lead by hand</h2>
      <p class="caution">
        What you lead moves as fast as its limits allow: fingers out of it, and a hand near Stop.
      </p>
      <Readiness />
      <div class="row">
        <Act
          class={armed.value ? '' : 'primary'}
          can={can}
          aria-pressed={armed.value}
          onAct={() => arm(!armed.value)}
        >
          {armed.value ? 'Controls are ready: switch off' : 'Make the controls ready'}
        </Act>
        <RecordingHere />
      </div>
      <p class="hint" id="lead-how">
        {list.length === 0
          ? 'First choose below which servos you lead, and with what.'
          : armed.value
            ? 'Each moves only while you hold it: drag from where it stands, or hold an arrow key. Let go, and it holds.'
            : 'Nothing here moves anything until the controls are ready.'}
      </p>
      <p role="status" class="perform-said">
        {said}
      </p>
      {by('slider').map((one) => (
        <LedRow key={JSON.stringify(one)} one={one}>
          <Slider one={one} />
        </LedRow>
      ))}
      {by('pad-').length > 0 && <Pad key={JSON.stringify(by('pad-'))} />}
      {by('pad-').map((one) => (
        <LedRow key={one.channel} one={one} />
      ))}
      {by('keys').map((one) => {
        const [low = '?', high = '?'] = one.turned
          ? [one.keys?.[1], one.keys?.[0]]
          : (one.keys ?? []);
        return (
          <LedRow key={one.channel} one={one}>
            <p class="hint">
              Hold <kbd>{low}</kbd> towards low, <kbd>{high}</kbd> towards high.
            </p>
          </LedRow>
        );
      })}
      {(by('axis-').length > 0 || by('button-').length > 0) && <GamepadLine />}
      {[...by('axis-'), ...by('button-')].map((one) => (
        <LedRow key={one.channel} one={one} />
      ))}
      {by('tilt-').length > 0 && <TiltLine />}
      {by('tilt-').map((one) => (
        <LedRow key={one.channel} one={one} />
      ))}
      {by('with-').map((one) => (
        <LedRow key={one.channel} one={one}>
          <p class="hint">
            goes with {partnerOf(one)}
            {one.turned ? ', mirrored' : ''}
          </p>
        </LedRow>
      ))}
    </section>
  );
}

/** One servo: its name, where it stands, how far it is behind, and why it does not go further. */
function LedRow({ one, children }: { one: Led; children?: preact.ComponentChildren }) {
  const { channel } = one;
  const stands = useComputed(() => degText(Number(stateOf(channel).value.value)));
  const now = useComputed(() => following.value[channel]);
  const { behindDeg = 0, behindS = 0, refused, delayed } = now.value ?? {};
  const isHeld = now.value !== undefined || gripped.value.has(channel);
  return (
    <div class={`lead-row ${isHeld ? 'is-held' : ''} ${refused ? 'is-refused' : ''}`}>
      <p class="lead-head">
        <strong>{channel}</strong> <span class="number">{stands}</span>
        <span class="number soft lead-behind">
          {isHeld &&
            (Math.abs(behindDeg) < 0.05
              ? 'on time'
              : `${degText(Math.abs(behindDeg))} behind, ${Math.round(1000 * behindS)} ms`)}
        </span>
      </p>
      {children}
      <p class="lead-why" role="status">
        {refused ? forPeople(refused.reason) : (delayed ?? '')}
      </p>
    </div>
  );
}

function GamepadLine() {
  const pad = gamepad.value;
  const button = HOLD_BUTTONS.find(([number]) => number === holdButton.value)?.[1] ?? '';
  return (
    <p class="lead-gamepad" role="status">
      {pad ? (
        <>
          Gamepad: {pad.name}.{' '}
          {pad.held ? (
            <strong>Held: it leads.</strong>
          ) : (
            <>Hold its {button}: the servos then go to where the sticks are.</>
          )}
        </>
      ) : (
        'No gamepad yet: plug it in, or press one of its buttons.'
      )}
    </p>
  );
}

function TiltLine() {
  const state = tilt.state.value;
  useEffect(() => stopTilt, []);
  return (
    <div>
      {state === 'on' ? (
        <button
          type="button"
          class={`hold ${tiltHeld.value ? 'is-running' : ''}`}
          aria-disabled={!armed.value}
          aria-pressed={tiltHeld.value}
          onPointerDown={(event) => {
            if (event.button !== 0) return;
            event.currentTarget.setPointerCapture(event.pointerId);
            holdTilt();
          }}
          onPointerUp={() => letGoTilt()}
          onPointerCancel={() => letGoTilt()}
          onLostPointerCapture={() => letGoTilt()}
          onContextMenu={(event) => event.preventDefault()}
          onKeyDown={(event) => {
            if (event.key !== ' ' && event.key !== 'Enter') return;
            event.preventDefault();
            if (!event.repeat) holdTilt();
          }}
          onKeyUp={() => letGoTilt()}
          onBlur={() => letGoTilt()}
        >
          Hold, and tilt the phone
        </button>
      ) : (
        <Act can={state !== 'waiting'} onAct={() => void startTilt()}>
          Use the tilt of this phone
        </Act>
      )}
      {typeof state === 'object' && <p class="hint">{state.problem}</p>}
    </div>
  );
}

// --- what leads what ----------------------------------------------------------------------------

function SetUp() {
  const adding = useSignal('');
  const first = free.value.includes(adding.value) ? adding.value : (free.value[0] ?? '');
  return (
    <section class="sheet" aria-labelledby="lead-what">
      <h2 id="lead-what">What leads what</h2>
      <p class="hint">This browser keeps it for this prop.</p>
      {usable.value.map((one) => (
        <LedForm key={one.channel} one={one} />
      ))}
      {first && (
        <div class="part-field">
          <Select
            label="Servo"
            value={first}
            options={free.value}
            onPick={(name) => {
              adding.value = name;
            }}
          />
          <Act can onAct={() => setLed([...led.peek(), { channel: first, by: 'slider' }])}>
            Lead it too
          </Act>
        </div>
      )}
      {isByGamepad.value && (
        <div class="part-field">
          <Select
            label="Gamepad: the button that must be held"
            value={String(holdButton.value)}
            options={HOLD_BUTTONS.map(([number, words]) => [String(number), words])}
            onPick={(number) => setHoldButton(Number(number))}
          />
        </div>
      )}
    </section>
  );
}

function leaders(one: Led): (readonly [Leader, string])[] {
  const others = usable.value.filter(
    ({ channel, by }) => channel !== one.channel && !by.startsWith('with-'),
  );
  return [
    ['slider', 'a slider of its own'],
    ['pad-across', 'the pad, across'],
    ['pad-up', 'the pad, up and down'],
    ['keys', 'two keys'],
    ...AXES.map(([number, words]) => [`axis-${number}`, `gamepad: ${words}`] as const),
    ...TRIGGERS.map(([number, words]) => [`button-${number}`, `gamepad: ${words}`] as const),
    ['tilt-roll', 'this phone, tilted to its sides'],
    ['tilt-pitch', 'this phone, tilted forwards and back'],
    ...others.map(({ channel }) => [`with-${channel}`, `together with ${channel}`] as const),
  ];
}

function LedForm({ one }: { one: Led }) {
  const { channel, by, turned = false } = one;
  const [low, high] = channels.value[channel]!.limitsDeg!;
  const [from, to] = rangeFor(one);
  const change = (more: Partial<Led>) =>
    setLed(led.peek().map((other) => (other.channel === channel ? { ...other, ...more } : other)));
  const edge = (key: 'fromDeg' | 'toDeg') => (event: Event) => {
    const deg = typedNumber((event.currentTarget as HTMLInputElement).value);
    change({ [key]: Number.isFinite(deg) ? deg : undefined });
  };
  return (
    <details class="lead-form">
      <summary>
        <strong>{channel}</strong>{' '}
        <span class="soft">{leaders(one).find(([value]) => value === by)?.[1] ?? by}</span>
      </summary>
      <div class="part-field">
        <Select
          label="Led by"
          value={by}
          options={leaders(one)}
          onPick={(value) => {
            const next = value as Leader;
            change({
              by: next,
              ...(next === 'keys' && !one.keys && { keys: freeKeys(led.peek()) }),
            });
          }}
        />
        {by === 'keys' && <Keys one={one} change={change} />}
        <label class="lead-edge">
          From (deg)
          <input inputMode="decimal" value={from} onChange={edge('fromDeg')} />
        </label>
        <label class="lead-edge">
          To (deg)
          <input inputMode="decimal" value={to} onChange={edge('toDeg')} />
        </label>
        <p class="hint">
          Its limits are {degText(low)} to {degText(high)}.
        </p>
      </div>
      <div class="row">
        <Tick checked={turned} onTick={(checked) => change({ turned: checked })}>
          {partnerOf(one) ? 'Mirrored' : 'The other way round'}
        </Tick>
        <Act
          can
          aria-label={`Remove ${channel}`}
          onAct={() => setLed(led.peek().filter((other) => other.channel !== channel))}
        >
          Remove
        </Act>
      </div>
    </details>
  );
}

function Keys({ one, change }: { one: Led; change: (more: Partial<Led>) => void }) {
  const keys = one.keys ?? ['', ''];
  const pick = (at: 0 | 1) => (event: Event) => {
    const field = event.currentTarget as HTMLInputElement;
    const next = withKeyAt(led.peek(), one, at, field.value.trim().toLowerCase());
    if (typeof next === 'string') said.value = next;
    else change({ keys: next });
    field.value = (typeof next === 'string' ? keys : next)[at];
  };
  return (
    <>
      <label class="lead-edge">
        Key for low
        <input value={keys[0]} maxLength={1} autocapitalize="off" onChange={pick(0)} />
      </label>
      <label class="lead-edge">
        Key for high
        <input value={keys[1]} maxLength={1} autocapitalize="off" onChange={pick(1)} />
      </label>
    </>
  );
}
