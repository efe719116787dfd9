import { type Signal, useSignal } from '@preact/signals';
import { useId, useLayoutEffect, useRef } from 'preact/hooks';
import type { ChannelInfo } from '../../api/types.ts';
import { Act } from './act.tsx';
import { degText, mappingOf, moveSlowly, rangeText, SLOW_DEG_S } from './bench-moves.ts';
import { ask, commanding, refuse, trouble, write } from './store.ts';
import { Tick } from './tick.tsx';

/** As the prop file has it: a letter, then letters, digits, _ or -, 64 at most. */
const MARK_PATTERN = '[A-Za-z][A-Za-z0-9_\\-]{0,63}';

interface Props {
  channel: string;
  info: ChannelInfo;
}

/** Sends a servo to an angle, a pulse width or a mark, slowly unless asked otherwise. */
export function GoTo({ channel, info }: Props) {
  const isSlow = useSignal(true);
  const [low, high] = info.limitsDeg!;
  const mapping = mappingOf(info);
  const pulses = [low, high].map((deg) => mapping.toPulseUs(deg)).sort((a, b) => a - b);
  const go = async (to: number | string) => {
    if (!isSlow.value) {
      await ask('channel.move', { channel, to });
      return;
    }
    try {
      await moveSlowly(channel, info, to);
      trouble.value = '';
    } catch (error) {
      refuse(error);
    }
  };
  return (
    <>
      <NumberForm
        label="Angle (deg)"
        min={low}
        max={high}
        hint={rangeText(info.limitsDeg!)}
        onGo={go}
      />
      <NumberForm
        label="Pulse (us)"
        min={Math.ceil(pulses[0]!)}
        max={Math.floor(pulses[1]!)}
        hint={`${Math.ceil(pulses[0]!)} to ${Math.floor(pulses[1]!)} us`}
        onGo={(us) => go(mapping.toDeg(us))}
      />
      {Object.keys(info.marks ?? {}).length > 0 && (
        <fieldset class="row plain">
          <legend>Marks</legend>
          {Object.entries(info.marks!).map(([mark, deg]) => (
            <Act
              key={mark}
              can={commanding.value}
              aria-label={`Go to ${mark}, ${degText(deg)}`}
              onAct={() => void go(mark)}
            >
              {mark} <span class="soft number">{degText(deg)}</span>
            </Act>
          ))}
        </fieldset>
      )}
      <Tick
        checked={isSlow.value}
        onTick={(checked) => {
          isSlow.value = checked;
        }}
      >
        Slowly, {SLOW_DEG_S} deg/s at most
      </Tick>
      <div class="row">
        <Act can={commanding.value} onAct={() => void ask('channel.identify', { channel })}>
          Identify: a small wiggle
        </Act>
      </div>
    </>
  );
}

function NumberForm(props: {
  label: string;
  min: number;
  max: number;
  hint: string;
  onGo: (value: number) => void;
}) {
  const id = useId();
  return (
    <form
      class="row"
      onSubmit={(event) => {
        event.preventDefault();
        if (commanding.peek()) props.onGo(Number(new FormData(event.currentTarget).get('value')));
      }}
    >
      <label for={id}>{props.label}</label>
      <input
        id={id}
        name="value"
        type="number"
        step="any"
        required
        inputMode="decimal"
        min={props.min}
        max={props.max}
        aria-describedby={`${id}-hint`}
      />
      <button type="submit" aria-disabled={!commanding.value}>
        Go
      </button>
      <span class="hint" id={`${id}-hint`}>
        {props.hint}
      </span>
    </form>
  );
}

// --- captures: each says in words what it wrote into the prop file, or undefined when refused -----

type Capture = Promise<string | undefined>;
/** Where a hand has turned a limp servo to; otherwise where it is commanded to. */
type From = 'measured';

/** Writes the present position as a mark into the prop file. */
export async function captureMark(channel: string, mark: string, from?: From): Capture {
  const done = await write(`mark ${mark} of ${channel}`, 'mark.capture', {
    channel,
    mark,
    ...(from && { from }),
  });
  return done && `${channel}: mark ${mark} is now ${degText(done.deg)}, in the prop file.`;
}

/** Writes the present position as a soft limit into the prop file. */
export async function captureLimit(channel: string, end: 'low' | 'high', from?: From): Capture {
  const done = await write(`the ${end} limit of ${channel}`, 'limits.capture', {
    channel,
    end,
    ...(from && { from }),
  });
  const deg = done?.limitsDeg[end === 'low' ? 0 : 1];
  return deg === undefined
    ? undefined
    : `${channel}: ${end} limit is now ${degText(deg)}, in the prop file.`;
}

/** Parks at a mark, or where it stands. */
export async function capturePark(channel: string, mark?: string): Capture {
  const done = await write(`the park position of ${channel}`, 'park.capture', {
    channel,
    ...(mark !== undefined && { mark }),
  });
  const at = mark === undefined ? '' : `${mark}, `;
  return done && `${channel}: park position is now ${at}${degText(done.deg)}, in the prop file.`;
}

/** Puts back what the last capture replaced. */
export async function undoCapture(): Capture {
  const done = await write('the undo', 'capture.undo', {});
  return done && `Undone: ${done.undone}.`;
}

// --- their controls --------------------------------------------------------------------------------

interface CaptureProps extends Props {
  from?: From;
  /** Gets what was written. */
  say: Signal<string>;
}

const LIMIT_WORDS = { low: 'Low limit here', high: 'High limit here' } as const;

/**
 * Writes where the servo stands now: a limit at once, a mark once it has a name. The name is asked for
 * in the same row, so that nothing shifts, and the focus comes back to where it was.
 */
export function CaptureRow({ channel, info, say, from }: CaptureProps) {
  const isNaming = useSignal(false);
  const markButton = useRef<HTMLDivElement>(null);
  const wasNaming = useRef(false);
  useLayoutEffect(() => {
    if (wasNaming.current && !isNaming.value)
      markButton.current?.querySelector<HTMLElement>('[data-mark]')?.focus();
    wasNaming.current = isNaming.value;
  }, [isNaming.value]);
  const limit = async (end: 'low' | 'high') => {
    say.value = (await captureLimit(channel, end, from)) ?? '';
  };
  const end = (which: 'low' | 'high') => (
    <Act can={commanding.value} onAct={() => void limit(which)}>
      {LIMIT_WORDS[which]}
    </Act>
  );
  return (
    <div class="capture-row" ref={markButton}>
      {isNaming.value ? (
        <MarkForm
          channel={channel}
          info={info}
          say={say}
          {...(from && { from })}
          takesFocus
          onDone={() => {
            isNaming.value = false;
          }}
          onLeave={() => {
            isNaming.value = false;
          }}
        />
      ) : (
        <>
          {end('low')}
          <Act
            data-mark
            can={commanding.value}
            onAct={() => {
              isNaming.value = true;
            }}
          >
            Mark here
          </Act>
          {end('high')}
        </>
      )}
    </div>
  );
}

/** Park position and undo: what is seldom needed beside the hand. */
export function MoreCaptures({ channel, info }: Props) {
  const message = useSignal('');
  const show = async (capture: Capture) => {
    message.value = (await capture) ?? '';
  };
  return (
    <>
      <ParkForm channel={channel} info={info} onPark={(mark) => show(capturePark(channel, mark))} />
      <div class="row">
        <Act can={commanding.value} onAct={() => void show(undoCapture())}>
          Undo the last capture
        </Act>
      </div>
      <Message text={message} />
    </>
  );
}

/** What was written, kept until the next capture, and read out by a screen reader. */
export function Message({ text }: { text: Signal<string> }) {
  return (
    <p role="status" class="message">
      {text}
    </p>
  );
}

interface MarkFormProps extends CaptureProps {
  isPrimary?: boolean;
  /** It was asked for: the name is written next. */
  takesFocus?: boolean;
  onDone?: (said: string) => void;
  /** Where it can be left without a mark. */
  onLeave?: () => void;
}

/** Asks for a name and captures the mark; `say` gets the result, `onDone` only a success. */
export function MarkForm(props: MarkFormProps) {
  const {
    channel,
    info,
    say,
    from,
    isPrimary = false,
    takesFocus = false,
    onDone,
    onLeave,
  } = props;
  const id = useId();
  const field = useRef<HTMLInputElement>(null);
  useLayoutEffect(() => {
    if (takesFocus) field.current!.focus();
  }, [takesFocus]);
  const names = [...new Set([...Object.keys(info.marks ?? {}), 'shut', 'open'])];
  return (
    <form
      class="mark-form"
      onSubmit={async (event) => {
        event.preventDefault();
        if (!commanding.peek()) return;
        const form = event.currentTarget;
        const mark = String(new FormData(form).get('mark')).trim();
        const said = await captureMark(channel, mark, from);
        say.value = said ?? '';
        if (!said) return;
        form.reset();
        onDone?.(said);
      }}
    >
      <label class="unseen" for={id}>
        Name of the mark
      </label>
      <input
        id={id}
        ref={field}
        name="mark"
        required
        maxLength={64}
        pattern={MARK_PATTERN}
        placeholder="name of the mark"
        title="a letter, then letters, digits, _ or -; a name that exists moves to here"
        list={`${id}-names`}
        autocomplete="off"
        autocapitalize="off"
        spellcheck={false}
      />
      <datalist id={`${id}-names`}>
        {names.map((name) => (
          <option key={name} value={name} />
        ))}
      </datalist>
      <button type="submit" class={isPrimary ? 'primary' : ''} aria-disabled={!commanding.value}>
        Capture the mark here
      </button>
      {onLeave && (
        <button type="button" class="leave" aria-label="No mark" onClick={onLeave}>
          ✕
        </button>
      )}
    </form>
  );
}

const HERE = ' here';

function ParkForm({ info, onPark }: Props & { onPark: (mark?: string) => void }) {
  const id = useId();
  return (
    <form
      class="row"
      onSubmit={(event) => {
        event.preventDefault();
        if (!commanding.peek()) return;
        const at = String(new FormData(event.currentTarget).get('at'));
        onPark(at === HERE ? undefined : at);
      }}
    >
      <label for={id}>Park</label>
      <select id={id} name="at">
        <option value={HERE}>here</option>
        {Object.entries(info.marks ?? {}).map(([mark, deg]) => (
          <option key={mark} value={mark}>
            at {mark}, {degText(deg)}
          </option>
        ))}
      </select>
      <button type="submit" aria-disabled={!commanding.value}>
        Set the park position
      </button>
      <span class="hint">
        Now {typeof info.park.to === 'number' ? degText(info.park.to) : String(info.park.to)}
        {info.park.then === 'release' ? ', then the pulses stop' : ', held there'}.
      </span>
    </form>
  );
}
