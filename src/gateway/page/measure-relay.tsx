import './measure.css';
import { useSignal } from '@preact/signals';
import { useId } from 'preact/hooks';
import { Act } from './act.tsx';
import { Figure, flagText } from './bench-numbers.tsx';
import { Readiness } from './bench-ready.tsx';
import { contactVerdict, exchangedOutputs, type Seen } from './measure-contact.ts';
import { NoteRow, Said, WriteRow } from './measure-write.tsx';
import { measuredText } from './measured.ts';
import type { ChannelProps } from './page-kind.ts';
import { remainingText } from './relay-time.ts';
import { ask, channels, commanding, stateOf } from './store.ts';

/** How long a relay is on for a look (s): as short as can be heard and seen; its duty guard counts too. */
const CLICK_S = 1;
const LOOK_S = 5;

type Heard = 'this' | 'another' | 'none';

/** Does it click, does it click when it should, and which contact feeds the load. */
export function MeasureRelay({ channel, info }: ChannelProps) {
  const heard = useSignal<Heard | undefined>(undefined);
  const seen = useSignal<Partial<Seen>>({});
  const say = useSignal('');
  const state = stateOf(channel);
  const again = () => {
    heard.value = undefined;
    seen.value = {};
  };
  const turn = (on: boolean, forS: number) => {
    const { duty, pulseMs } = info;
    const longest = Math.min(forS, duty?.maxOnS ?? forS);
    void ask('channel.switch', {
      channel,
      on,
      ...(on && pulseMs === undefined && { forS: longest }),
    });
  };
  const { whileOff, whileOn, unplugged } = seen.value;
  const all =
    whileOff !== undefined && whileOn !== undefined && unplugged !== undefined
      ? { whileOff, whileOn, unplugged }
      : undefined;
  const see = (change: Partial<Seen>) => {
    seen.value = { ...seen.value, ...change };
  };
  return (
    <div class="measure">
      <Readiness />
      <section class="sheet" aria-labelledby="relay-click">
        <h2 id="relay-click">Click and contact of {channel}</h2>
        <p class="caution">
          What it feeds goes on and off. Keep clear of it, and of its vapour or heat; mains is for
          licensed persons only. First measure with the load unplugged if it can hurt anybody.
        </p>
        <p class="hint">In the prop file: {measuredText(info, 'contact')}.</p>
        <dl class="figures">
          <Figure label="State" text={() => flagText(state.value.flags, info.kind)} />
          <Figure label="Should be" text={() => (state.value.value ? 'on' : 'off')} />
          <Figure label="Time left" text={() => remainingText(channel) || 'none'} />
        </dl>
        <h3>1. Does it click?</h3>
        <div class="row">
          <Act can={commanding.value} onAct={() => turn(true, CLICK_S)}>
            {info.pulseMs === undefined ? `On for ${CLICK_S} s` : `Pulse, ${info.pulseMs} ms`}
          </Act>
        </div>
        <Answers
          question="What did you hear?"
          answers={[
            ['This relay, twice', () => (heard.value = 'this'), heard.value === 'this'],
            ['Another relay', () => (heard.value = 'another'), heard.value === 'another'],
            ['Nothing', () => (heard.value = 'none'), heard.value === 'none'],
          ]}
        />
        {heard.value === 'another' && (
          <Another channel={channel} info={info} say={say} onWritten={again} />
        )}
        {heard.value === 'none' && (
          <p>
            Look for its wire in <a href="#wiring/find">Find a wire</a>, and check it step by step
            in <a href="#wiring/fault">It does not work</a>. A relay in its duty rest does not click
            either.
          </p>
        )}
        {heard.value === 'this' && (
          <>
            <h3>2. What it feeds, with the relay off</h3>
            <div class="row">
              <Act can={commanding.value} onAct={() => turn(false, 0)}>
                Off
              </Act>
            </div>
            <OnOrOff answer={whileOff} onAnswer={(is) => see({ whileOff: is })} />
            {whileOff === true && !(info.terminals && info.terminals.open === undefined) && (
              <p class="caution">
                It is on while it should be off: no duty guard counts this time, and Stop does not
                end it. If it may not stay on, cut its power now, and go on when it has rested.
              </p>
            )}
            <h3>3. With the relay on</h3>
            <div class="row">
              <Act can={commanding.value} onAct={() => turn(true, LOOK_S)}>
                {info.pulseMs === undefined
                  ? `On for ${Math.min(LOOK_S, info.duty?.maxOnS ?? LOOK_S)} s`
                  : `Pulse, ${info.pulseMs} ms`}
              </Act>
            </div>
            <OnOrOff answer={whileOn} onAnswer={(is) => see({ whileOn: is })} />
            <h3>4. Without its coil</h3>
            <p>
              Switch the actuators’ power off, take the coil’s plug (or the supply of the relay
              board) out, and switch on again what the contact feeds.
            </p>
            <OnOrOff answer={unplugged} onAnswer={(is) => see({ unplugged: is })} />
          </>
        )}
        {all && heard.value === 'this' && (
          <Verdict channel={channel} info={info} seen={all} say={say} onWritten={again} />
        )}
        <Said say={say} />
        <p class="row">
          <button type="button" onClick={again}>
            Start again
          </button>
          <a class="button" href={`#bench/${channel}`}>
            To the bench
          </a>
        </p>
      </section>
    </div>
  );
}

function OnOrOff({
  answer,
  onAnswer,
}: {
  answer: boolean | undefined;
  onAnswer: (is: boolean) => void;
}) {
  return (
    <Answers
      question="Is what it feeds on now?"
      answers={[
        ['It is on', () => onAnswer(true), answer === true],
        ['It is off', () => onAnswer(false), answer === false],
      ]}
    />
  );
}

/** A question, and a button for each answer. */
export function Answers({
  question,
  answers,
}: {
  question: string;
  answers: readonly (readonly [label: string, choose: () => void, chosen: boolean])[];
}) {
  const id = useId();
  return (
    <fieldset class="plain" aria-labelledby={id}>
      <p id={id}>{question}</p>
      <div class="measure-answers">
        {answers.map(([label, choose, chosen]) => (
          <button key={label} type="button" aria-pressed={chosen} onClick={choose}>
            {label}
          </button>
        ))}
      </div>
    </fieldset>
  );
}

type Say = { say: Parameters<typeof WriteRow>[0]['say']; onWritten: () => void };

function Another({ channel, info, say, onWritten }: ChannelProps & Say) {
  const others = Object.entries(channels.value).filter(
    ([name, { kind }]) => kind === info.kind && name !== channel,
  );
  const chosen = useSignal(others[0]?.[0] ?? '');
  const id = useId();
  const other = channels.value[chosen.value];
  if (!other)
    return (
      <p>
        There is no other relay in the file. Find out whose wire it is in{' '}
        <a href="#wiring/find">Find a wire</a>.
      </p>
    );
  return (
    <>
      <p class="row">
        <label for={id}>The one that clicked is</label>
        <select
          id={id}
          value={chosen.value}
          onChange={(event) => {
            chosen.value = event.currentTarget.value;
          }}
        >
          {others.map(([name]) => (
            <option key={name}>{name}</option>
          ))}
        </select>
      </p>
      <p>
        If the two have each other’s wires, either exchange these at the board, or let the file have
        it as it is: then {channel} and {chosen} exchange their pins. Afterwards measure both.
      </p>
      <WriteRow
        channel={channel}
        info={info}
        label="Exchange their pins in the file"
        what={`the pins of ${channel} and ${chosen.value}`}
        say={say}
        edits={(now) => exchangedOutputs([channel, now], [chosen.peek(), other])}
        onWritten={onWritten}
      />
    </>
  );
}

function Verdict({ channel, info, seen, say, onWritten }: ChannelProps & { seen: Seen } & Say) {
  const { says, isRight, edits, fix, caution } = contactVerdict(channel, info, seen);
  return (
    <>
      <h3>What it comes to</h3>
      <p>{says}</p>
      {caution && <p class="caution">{caution}</p>}
      {isRight && (
        <NoteRow
          channel={channel}
          info={info}
          measured="contact"
          label="Note it as measured"
          say={say}
          onWritten={onWritten}
        />
      )}
      {edits.length > 0 && (
        <>
          <p>
            The file can be made right: {fix}. Put the plug back with the power off; what it feeds
            changes over when the file takes effect. Then measure again: only what is seen to be
            right counts as measured.
          </p>
          <WriteRow
            channel={channel}
            info={info}
            label="Make the file right"
            what={`the contact of ${channel}`}
            say={say}
            edits={(now) => contactVerdict(channel, now, seen).edits}
            onWritten={onWritten}
          />
        </>
      )}
    </>
  );
}
