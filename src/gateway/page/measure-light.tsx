import './measure.css';
import { useSignal } from '@preact/signals';
import { useEffect, useId, useState } from 'preact/hooks';
import { linearColour, type Three, whiteBalanceOf, whiteToShow } from '../../sums/white-balance.ts';
import { Act } from './act.tsx';
import { Readiness } from './bench-ready.tsx';
import {
  COLOURS,
  litOf,
  orderVerdict,
  resistorResult,
  resistorText,
  type Seen,
  whiteEdits,
} from './measure-colours.ts';
import { Answers } from './measure-relay.tsx';
import { NoteRow, Said, WriteRow } from './measure-write.tsx';
import { measuredText } from './measured.ts';
import { FlashCaution } from './overview-light.tsx';
import { Sender } from './overview-sender.ts';
import type { ChannelProps } from './page-kind.ts';
import { ask, commanding } from './store.ts';

/** Colours fade in, so that going through them never flashes (s). */
const FADE_S = 0.5;

/** The colours of a light in order, its white, and its resistors. */
export function MeasureLight(props: ChannelProps) {
  const { channel, info } = props;
  return (
    <div class="measure">
      <Readiness />
      <FlashCaution />
      {info.whiteBalance && <Order {...props} />}
      {info.whiteBalance && <White {...props} />}
      <Resistors {...props} />
      <p class="row">
        <a class="button" href={`#bench/${channel}`}>
          To the bench
        </a>
      </p>
    </div>
  );
}

const show = (channel: string, to: string) => ask('channel.colour', { channel, to, fadeS: FADE_S });

const SEEN: readonly (readonly [Seen, string])[] = [
  ['red', 'Red'],
  ['green', 'Green'],
  ['blue', 'Blue'],
  ['nothing', 'Nothing'],
  ['other', 'Another colour'],
];
const PURE = ['#ff0000', '#00ff00', '#0000ff'] as const;

function Order({ channel, info }: ChannelProps) {
  const say = useSignal('');
  const shown = useSignal<number | undefined>(undefined);
  const seen = useSignal<readonly (Seen | undefined)[]>([]);
  const answers = seen.value.filter((one) => one !== undefined);
  const verdict = answers.length === 3 ? orderVerdict(channel, info, answers) : undefined;
  const again = () => {
    shown.value = undefined;
    seen.value = [];
  };
  return (
    <section class="sheet" aria-labelledby="light-order">
      <h2 id="light-order">Order of the colours</h2>
      <p class="hint">In the prop file: {measuredText(info, 'colours')}.</p>
      {PURE.map((colour, i) => (
        <div key={colour}>
          <h3>
            {i + 1}. Show {COLOURS[i]}
          </h3>
          <div class="row">
            <Act
              can={commanding.value}
              onAct={() => {
                shown.value = i;
                void show(channel, colour);
              }}
            >
              Show {COLOURS[i]}
            </Act>
          </div>
          {(shown.value === i || seen.value[i]) && (
            <Answers
              question="What do you see?"
              answers={SEEN.map(([what, label]) => [
                label,
                () => {
                  seen.value = [0, 1, 2].map((j) => (j === i ? what : seen.value[j]));
                },
                seen.value[i] === what,
              ])}
            />
          )}
        </div>
      ))}
      {verdict && (
        <>
          <p>{verdict.says}</p>
          {verdict.isRight && (
            <NoteRow
              channel={channel}
              info={info}
              measured="colours"
              label="Note it as measured"
              say={say}
              onWritten={again}
            />
          )}
          {verdict.edits.length > 0 && (
            <>
              <p>
                The file can have them in this order; then look at them again. The wires in the file
                keep their roles: where it has some, the check says which to put right. Forward
                voltages and resistors stay with their colours.
              </p>
              <WriteRow
                channel={channel}
                info={info}
                label="Exchange the pins in the file"
                what={`the pins of ${channel}`}
                say={say}
                edits={(now) => orderVerdict(channel, now, answers).edits}
                onWritten={again}
              />
            </>
          )}
        </>
      )}
      <Said say={say} />
    </section>
  );
}

function White({ channel, info }: ChannelProps) {
  const say = useSignal('');
  const inUse = info.whiteBalance as unknown as Three;
  const match = useSignal<Three>(inUse);
  const [sender] = useState(() => new Sender((to: string) => show(channel, to)));
  const preview = () => sender.push(linearColour(whiteToShow(match.peek(), inUse)));
  const gains = whiteBalanceOf(match.value);
  return (
    <section class="sheet" aria-labelledby="light-white">
      <h2 id="light-white">White balance</h2>
      <p class="hint">
        In the prop file: {inUse.join(', ')}; {measuredText(info, 'white')}.
      </p>
      <p>
        Hold white paper in the light, or beside it in daylight, and draw down what is too strong
        until it looks white. Begin with all at 100 %.
      </p>
      <div class="row">
        <Act can={commanding.value} onAct={preview}>
          Show it
        </Act>
      </div>
      <div class="measure-sliders">
        {COLOURS.map((colour, i) => (
          <label key={colour} class="slider">
            {colour}, {Math.round(match.value[i]! * 100)} %
            <input
              type="range"
              aria-label={`${colour} of ${channel} (%)`}
              min={1}
              max={100}
              step={1}
              disabled={!commanding.value}
              value={Math.round(match.value[i]! * 100)}
              onInput={(event) => {
                const share = event.currentTarget.valueAsNumber / 100;
                match.value = match.value.map((one, j) =>
                  j === i ? share : one,
                ) as never as Three;
                preview();
              }}
            />
          </label>
        ))}
      </div>
      <p>
        That is {gains.join(', ')}: each colour gives this share of its light and takes this share
        of its current. The brightest stays at full.
      </p>
      <WriteRow
        channel={channel}
        info={info}
        label="Write this white balance"
        what={`the white balance of ${channel}`}
        say={say}
        edits={(now, date) => whiteEdits(channel, now, gains, date)}
      />
      <Said say={say} />
    </section>
  );
}

function Resistors({ channel, info }: ChannelProps) {
  const say = useSignal('');
  const lit = litOf(info);
  const volts = useSignal<Record<string, string>>({});
  const supply = useSignal(info.ledSupplyV === undefined ? '' : String(info.ledSupplyV));
  const id = useId();
  useEffect(() => {
    if (info.ledSupplyV !== undefined) supply.value = String(info.ledSupplyV);
  }, [info.ledSupplyV, supply]);
  if (lit.length === 0)
    return (
      <section class="sheet" aria-labelledby="light-resistors">
        <h2 id="light-resistors">Resistors</h2>
        <p>
          The file gives no resistors for {channel} (led: with forwardV, currentA and resistorOhm),
          so there is nothing to check them against.
        </p>
      </section>
    );
  const supplyV = Number(supply.value);
  const light = (i: number) =>
    info.whiteBalance
      ? show(channel, PURE[i]!)
      : ask('channel.dim', { channel, to: 1, fadeS: FADE_S });
  const results = lit.map((one) => {
    const text = volts.value[one.name] ?? '';
    return text === '' || !(supplyV > 0)
      ? undefined
      : resistorResult(info, one, supplyV, Number(text));
  });
  const areRight = results.every((result) => result?.verdict === 'right');
  return (
    <section class="sheet" aria-labelledby="light-resistors">
      <h2 id="light-resistors">Resistors</h2>
      <p class="hint">In the prop file: {measuredText(info, 'resistors')}.</p>
      <p class="caution">
        Put the meter’s clips on with the power off, and do not let them touch anything else. A
        short circuit burns.
      </p>
      <p class="row">
        <label for={id}>Supply of the LEDs (V)</label>
        <input
          id={id}
          type="number"
          step="any"
          min={0}
          inputMode="decimal"
          value={supply}
          onInput={(event) => {
            supply.value = event.currentTarget.value;
          }}
        />
      </p>
      {lit.map((one, i) => (
        <div key={one.name}>
          <h3>
            {one.name}, {one.ohm} ohm
          </h3>
          <div class="row">
            <Act can={commanding.value} onAct={() => void light(i)}>
              Light {one.name === 'LED' ? 'it' : one.name} fully
            </Act>
            <label>
              Across its resistor (V){' '}
              <input
                type="number"
                step="any"
                min={0}
                inputMode="decimal"
                aria-label={`Volts across the resistor of ${one.name}`}
                value={volts.value[one.name] ?? ''}
                onInput={(event) => {
                  volts.value = { ...volts.value, [one.name]: event.currentTarget.value };
                }}
              />
            </label>
          </div>
          {results[i] && <p role="status">{resistorText(results[i])}</p>}
        </div>
      ))}
      {areRight && (
        <NoteRow
          channel={channel}
          info={info}
          measured="resistors"
          label="Note the resistors as measured"
          say={say}
          onWritten={() => {
            volts.value = {};
          }}
        />
      )}
      <Said say={say} />
    </section>
  );
}
