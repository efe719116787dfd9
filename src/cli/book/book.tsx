import type { ComponentChildren } from 'preact';
import {
  ListByChannel,
  ListByConnector,
  ListByLabel,
  ListOfParts,
} from '../../drawings/loom-lists.tsx';
import type { LoomView } from '../../drawings/loom-picture.tsx';
import { PinMap } from '../../drawings/pin-map.tsx';
import { changes } from '../../drawings/track.ts';
import { WireFlags } from '../../drawings/wire-flags.tsx';
import {
  boardTitle,
  cueLength,
  loomCaption,
  PARTS_TITLE,
  railFigures,
} from '../../drawings/words.ts';
import { budgetOf } from '../../prop/budget.ts';
import { relayOf, servoOf } from '../../prop/kinds/channel.ts';
import { measurementsOf } from '../../prop/kinds/measured.ts';
import { kindOf } from '../../prop/kinds/registry.ts';
import { degIn } from '../../prop/kinds/servo.ts';
import { softLimits } from '../../prop/mechanics.ts';
import type { Prop } from '../../prop/schema.ts';
import { CAUTIONS as TRACE_CAUTIONS, type Trace } from '../../prop/trace.ts';
import type { Rehearsal } from '../../rehearsal/rehearse.ts';
import { tidy } from '../../shared/units.ts';
import { CAUTIONS as BUDGET_CAUTIONS, fuseLine } from '../budget-text.ts';
import { FIRST_POWER_CAUTIONS, type Phase } from '../first-power.ts';
import { Acceptance, type AcceptanceView } from './acceptance.tsx';
import { BOOK_STYLE } from './book-style.ts';
import { hazardsOf } from './hazards.ts';
import { choresOf, partsOf } from './upkeep.ts';

/** A prop, for a client or a colleague, as one document. */
export interface BookView {
  prop: Prop;
  /** The prop file's name alone, its version, and that of Sinew. */
  file: string;
  version: string;
  program: string;
  /** As it was asked for; without it the book has no date. */
  date: string | undefined;
  picture: { uri: string } | undefined;
  /** What `sinew check` says, an item each. */
  findings: readonly string[];
  cues: readonly { rehearsal: Rehearsal; drawing: string }[];
  loom: LoomView;
  firstPower: readonly Phase[];
  faults: readonly Trace[];
  acceptance: AcceptanceView | undefined;
}

const CHAPTERS = [
  ['what', 'What it is and does'],
  ['safety', 'Cautions and hazards'],
  ['on', 'Switching on and off'],
  ['cues', 'Cues'],
  ['wiring', 'Wiring'],
  ['supplies', 'Supplies and fuses'],
  ['marks', 'Marks and limits'],
  ['parts', 'Parts and spares'],
  ['upkeep', 'Maintenance'],
  ['first', 'First switching on'],
  ['faults', 'Fault-finding'],
  ['acceptance', 'Acceptance sheet'],
] as const;

type ChapterId = (typeof CHAPTERS)[number][0];

/** The page of paper around a document of this style. */
export function Sheet(props: { title: string; children: ComponentChildren }) {
  return (
    <html lang="en">
      <head>
        <meta charset="utf-8" />
        <meta name="viewport" content="width=device-width, initial-scale=1" />
        <title>{props.title}</title>
        <style>{BOOK_STYLE}</style>
      </head>
      <body>{props.children}</body>
    </html>
  );
}

export function Book(view: BookView) {
  const { prop, acceptance } = view;
  return (
    <Sheet title={`${prop.name}: the book`}>
      <Front {...view} />
      <main>
        <Chapter id="what">
          <What prop={prop} cues={view.cues} />
        </Chapter>
        <Chapter id="safety">
          <Safety prop={prop} />
        </Chapter>
        <Chapter id="on">
          <OnAndOff prop={prop} />
        </Chapter>
        <Chapter id="cues" sideways>
          <Cues prop={prop} cues={view.cues} />
        </Chapter>
        <Chapter id="wiring">
          <Wiring {...view.loom} />
        </Chapter>
        <Chapter id="supplies">
          <Supplies prop={prop} />
        </Chapter>
        <Chapter id="marks">
          <Marks prop={prop} />
        </Chapter>
        <Chapter id="parts">
          <Parts prop={prop} />
        </Chapter>
        <Chapter id="upkeep">
          <Upkeep prop={prop} />
        </Chapter>
        <Chapter id="first">
          <First phases={view.firstPower} />
        </Chapter>
        <Chapter id="faults">
          <Faults faults={view.faults} />
        </Chapter>
        {acceptance && (
          <Chapter id="acceptance">
            <Acceptance {...acceptance} />
          </Chapter>
        )}
      </main>
    </Sheet>
  );
}

function Chapter(props: { id: ChapterId; sideways?: boolean; children: ComponentChildren }) {
  const { id, sideways, children } = props;
  return (
    <section class={sideways ? 'chapter sideways' : 'chapter'} id={id}>
      <h2>{CHAPTERS.find(([one]) => one === id)![1]}</h2>
      {children}
    </section>
  );
}

function Items({ of }: { of: readonly string[] }) {
  return (
    <ul>
      {of.map((one) => (
        <li key={one}>{one}</li>
      ))}
    </ul>
  );
}

type Cell = ComponentChildren;

function Table(props: {
  head: readonly string[];
  rows: readonly (readonly Cell[])[];
  compact?: boolean;
}) {
  return (
    <table class={props.compact ? 'plain compact' : 'plain'}>
      <thead>
        <tr>
          {props.head.map((one) => (
            <th key={one}>{one}</th>
          ))}
        </tr>
      </thead>
      <tbody>
        {props.rows.map((row, i) => (
          <tr key={i}>
            {row.map((cell, j) => (
              <td key={j}>{cell}</td>
            ))}
          </tr>
        ))}
      </tbody>
    </table>
  );
}

function Front({ prop, file, version, program, date, picture, findings, acceptance }: BookView) {
  const places = Object.entries(prop.picture?.places ?? {});
  return (
    <header class="front">
      <h1>{prop.name}</h1>
      <p class="soft">The book of this prop</p>
      {picture && (
        <figure>
          <img src={picture.uri} alt={prop.name} />
          {places.map(([name, [x, y]], i) => (
            <span
              key={name}
              class="spot"
              style={`left:${tidy(100 * x, 2)}%;top:${tidy(100 * y, 2)}%`}
            >
              {i + 1}
            </span>
          ))}
        </figure>
      )}
      {picture && places.length > 0 && (
        <p class="soft">{places.map(([name], i) => `${i + 1} ${name}`).join(' · ')}</p>
      )}
      <div class="warn">
        <p>
          <b>Before anything else:</b> keep hands out while it is awake; know where the switch is
          that cuts the actuators' power; local codes, and the judgement of people licensed to apply
          them, go before this book.
        </p>
      </div>
      <dl>
        <dt>Made from</dt>
        <dd>
          {file}, version {version}
        </dd>
        <dt>With</dt>
        <dd>Sinew {program}</dd>
        {date !== undefined && (
          <>
            <dt>Date</dt>
            <dd>{date}</dd>
          </>
        )}
        <dt>Check</dt>
        <dd>{findings.length === 0 ? 'no findings' : <Items of={findings} />}</dd>
      </dl>
      <ul class="contents">
        {CHAPTERS.filter(([id]) => id !== 'acceptance' || acceptance).map(([id, title]) => (
          <li key={id}>
            <a href={`#${id}`}>{title}</a>
          </li>
        ))}
      </ul>
    </header>
  );
}

function What({ prop, cues }: Pick<BookView, 'prop' | 'cues'>) {
  const { channels, groups, triggers, idle, guards } = prop;
  const groupsOf = (name: string) =>
    Object.entries(groups)
      .filter(([, members]) => members.includes(name))
      .map(([group]) => group)
      .join(', ');
  return (
    <>
      <p>
        {Object.keys(channels).length} channels, driven by {Object.keys(prop.boards).join(', ')}.
        Nothing moves unless somebody has control of it
        {Object.values(triggers).some(({ unattended }) => unattended)
          ? ', or a trigger runs that may do so unattended'
          : ''}
        .
      </p>
      <Table
        head={['Channel', 'Kind', 'Groups', 'Rests at']}
        rows={Object.entries(channels).map(([name, channel]) => [
          <b>{name}</b>,
          channel.kind,
          groupsOf(name),
          `${channel.park.to}${'then' in channel.park && channel.park.then === 'release' ? ', limp' : ''}`,
        ])}
      />
      <h3>What it can do</h3>
      <Table
        head={['Cue', 'Takes', 'Uses']}
        rows={cues.map(({ rehearsal: { cue, durationS, cutShort, tracks } }) => [
          <b>{cue}</b>,
          cueLength(durationS, cutShort),
          tracks
            .filter(changes)
            .map(({ name }) => name)
            .join(', '),
        ])}
      />
      {Object.keys(triggers).length > 0 && (
        <>
          <h3>What starts it</h3>
          <Table
            head={['Trigger', 'By', 'Runs', 'With nobody in control']}
            rows={Object.entries(triggers).map(([name, one]) => [
              name,
              one.input
                ? `a contact at pin ${one.input.pin}`
                : one.daily !== undefined
                  ? `daily at ${one.daily}`
                  : one.osc !== undefined
                    ? `OSC ${one.osc}`
                    : 'the start of the daemon',
              one.cue,
              one.unattended ? 'yes' : 'no',
            ])}
          />
        </>
      )}
      {Object.keys(idle).length > 0 && (
        <p>Background behaviour, while somebody has control: {Object.keys(idle).join(', ')}.</p>
      )}
      {Object.keys(guards).length > 0 && (
        <p>Guards that keep people apart from it: {Object.keys(guards).join(', ')}.</p>
      )}
    </>
  );
}

function Safety({ prop }: { prop: Prop }) {
  return (
    <>
      <div class="warn">
        <Items of={FIRST_POWER_CAUTIONS} />
      </div>
      <h3>Hazards and residual risk</h3>
      <p class="soft">
        Words as in ISO 12100 (types of hazard, protective measure, residual risk), stop categories
        as in IEC 60204-1, emergency stop as in ISO 13850. This table is worked out from the prop
        file alone. It helps with a risk assessment of the place and the public, and replaces none.
      </p>
      <Table
        head={['Type', 'Hazard and its origin', 'Protective measures', 'Residual risk']}
        rows={hazardsOf(prop).map(({ type, what, from, measures, residual }) => [
          type,
          <>
            {what}
            {from.length > 0 && <div class="soft">{from.join(', ')}</div>}
          </>,
          <Items of={measures} />,
          residual,
        ])}
      />
    </>
  );
}

function OnAndOff({ prop }: { prop: Prop }) {
  const rails = Object.keys(prop.rails);
  const { stopInput, lockoutInput } = prop;
  return (
    <>
      <h3>On</h3>
      <ol>
        <li>Look: nobody and nothing in reach; the switch of the actuators' power at hand, off.</li>
        <li>Switch on the computer. It takes up to a minute; nothing may move.</li>
        <li>
          Open the page (or <code>sinew status</code>): the prop is parked, or at rest and not
          parked, and says why.
        </li>
        <li>
          Switch on the actuators' power{rails.length > 0 ? ` (${rails.join(', ')})` : ''}. Nothing
          may move.
        </li>
        <li>
          Take control, then Wake. If it names servos that nobody knows the position of: keep all
          hands clear before you say yes. They move one at a time, at their own speed.
        </li>
      </ol>
      <h3>Off</h3>
      <ol>
        <li>Park, and wait until it is parked.</li>
        <li>Switch off the actuators' power.</li>
        <li>
          Shut the computer down (<code>sudo systemctl poweroff</code>), then switch it off.
        </li>
      </ol>
      <h3>Stop</h3>
      <Items
        of={[
          "In danger: the switch that cuts the actuators' power. Limbs may fall: a limp limb weighs what it weighs.",
          stopInput
            ? `The stop button of the prop (category ${stopInput.category}), the page, or sinew stop.`
            : 'The page, or sinew stop. The file has no stop button.',
          'A stop stays until somebody resets it; reset moves nothing, and wake is asked for again.',
        ]}
      />
      <h3>Hands in the prop</h3>
      <Items
        of={[
          lockoutInput
            ? "Turn the key switch (nothing wakes or moves meanwhile), then switch off the actuators' power."
            : "Set a lockout on the page (or sinew lockout), then switch off the actuators' power.",
          'Whoever set a lockout clears it, when all hands are out.',
        ]}
      />
    </>
  );
}

function Cues({ prop, cues }: Pick<BookView, 'prop' | 'cues'>) {
  if (cues.length === 0) return <p>The file has no cues.</p>;
  return (
    <>
      <p>
        Computed from the file, without hardware. Times count from the start of a cue; the load of
        the rails is an estimate.
      </p>
      {cues.map(({ rehearsal, drawing }) => (
        <div class="cue" key={rehearsal.cue}>
          <h3>
            {rehearsal.cue}{' '}
            <span class="soft">
              {cueLength(rehearsal.durationS, rehearsal.cutShort)}
              {rehearsal.rails.map((rail) => `; ${rail.name}: ${railFigures(rail)}`).join('')}
            </span>
          </h3>
          <img src={drawing} alt={`Timeline of cue ${rehearsal.cue} of ${prop.name}`} />
        </div>
      ))}
    </>
  );
}

function Wiring({ wires, boards, connectors, parts }: LoomView) {
  if (wires.length === 0) return <p>The file names no wires.</p>;
  return (
    <>
      <p>{loomCaption(wires.length, connectors.length)}</p>
      <p class="caution">
        Disconnect the power before you touch a wire. Mains is only for licensed persons, under the
        local code.
      </p>
      {boards.map(({ name, board, connector, slots }) => (
        <div class="board" key={name}>
          <h3>{boardTitle(name, board.driver, connector)}</h3>
          <PinMap board={board} slots={slots} />
        </div>
      ))}
      <h3>By connector</h3>
      <ListByConnector connectors={connectors} />
      <h3>By channel</h3>
      <ListByChannel wires={wires} />
      <h3>By label</h3>
      <ListByLabel wires={wires} />
      {parts.length > 0 && (
        <>
          <h3>{PARTS_TITLE}</h3>
          <ListOfParts parts={parts} />
        </>
      )}
      <h3>Wire flags</h3>
      <WireFlags wires={wires} order="label" />
    </>
  );
}

const amps = (value: number | undefined) => (value === undefined ? '' : String(tidy(value, 2)));

function Supplies({ prop }: { prop: Prop }) {
  const { rails } = budgetOf(prop);
  return (
    <>
      <Table
        head={['Rail', 'V', 'Limit A', 'At rest A', 'Moving A', 'Stalled A', 'Supply A', 'From']}
        rows={rails.map((rail) => [
          <b>{rail.name}</b>,
          tidy(rail.volts, 2),
          amps(rail.limitA),
          amps(rail.idleA),
          amps(rail.movingA),
          amps(rail.stallA),
          amps(rail.wantedA),
          prop.rails[rail.name]!.supply?.plus ?? '',
        ])}
      />
      <h3>Fuses</h3>
      <Table
        head={['Rail', 'Fuse', 'Between']}
        rows={rails.map(({ name, fuse }) => {
          const spec = prop.rails[name]!.fuse;
          return [
            <b>{name}</b>,
            fuse ? fuseLine(fuse) : 'none in the file',
            spec ? `${spec.from} and ${spec.to}` : '',
          ];
        })}
      />
      <Items of={BUDGET_CAUTIONS} />
    </>
  );
}

function Marks({ prop }: { prop: Prop }) {
  const all = Object.entries(prop.channels);
  const servos = all.flatMap(([name, one]) => {
    const servo = servoOf(one);
    return servo ? [{ name, servo }] : [];
  });
  const relays = all.flatMap(([name, one]) => {
    const relay = relayOf(one);
    return relay ? [{ name, relay }] : [];
  });
  return (
    <>
      {servos.length > 0 && (
        <Table
          compact
          head={[
            'Servo',
            'Limits deg',
            'Rests at',
            'Marks deg',
            'Speed deg/s',
            'Pulses us',
            'Measured',
          ]}
          rows={servos.map(({ name, servo }) => {
            const [low, high] = softLimits(servo);
            const rest = degIn(servo, servo.park.to);
            const pulses = servo.envelopeUs ?? servo.calibration.map(([us]) => us);
            return [
              <b>{name}</b>,
              `${tidy(low)} to ${tidy(high)}`,
              `${rest === undefined ? servo.park.to : tidy(rest)}, ${servo.park.then === 'release' ? 'limp' : 'held'}`,
              Object.entries(servo.marks ?? {})
                .map(([mark, deg]) => `${mark} ${tidy(deg)}`)
                .join(', '),
              tidy(servo.speedDegS),
              `${Math.min(...pulses)} to ${Math.max(...pulses)}`,
              measurementsOf(servo)
                .map(({ what, date, holds }) => `${what} ${date}${holds ? '' : ' (void)'}`)
                .join(', ') || 'no',
            ];
          })}
        />
      )}
      {relays.length > 0 && (
        <>
          <h3>Relays</h3>
          <Table
            head={['Relay', 'Rests', 'On at most', 'Then rests']}
            rows={relays.map(({ name, relay }) => [
              <b>{name}</b>,
              relay.park.to,
              relay.duty ? `${relay.duty.maxOnS} s` : 'no limit in the file',
              relay.duty ? `${relay.duty.restS} s` : '',
            ])}
          />
        </>
      )}
      <p class="soft">
        A mark or limit is worth what its measurement is worth: measure again after a servo, a horn
        or a linkage was changed.
      </p>
    </>
  );
}

function Parts({ prop }: { prop: Prop }) {
  return (
    <>
      <Table
        compact
        head={['Quantity', 'Item', 'What', 'For', 'Spares']}
        rows={partsOf(prop).map(({ quantity, unit, item, size, for: owners, spares }) => [
          unit === 'm' ? `${quantity} m` : quantity,
          item,
          size,
          owners.join(', '),
          spares || '',
        ])}
      />
      <p class="soft">
        Spares: common practice, no source. Typical values of parts are those of their class; the
        data sheet of what is built in goes before them.
      </p>
    </>
  );
}

function Upkeep({ prop }: { prop: Prop }) {
  return (
    <>
      <p class="soft">Common practice, no source: the makers' data sheets go first.</p>
      <Table
        head={['When', 'What', 'Done by, on']}
        rows={choresOf(prop).map(({ when, what }) => [when, what, <span class="value" />])}
      />
    </>
  );
}

function First({ phases }: { phases: readonly Phase[] }) {
  let count = 0;
  return (
    <>
      <p>
        After building, rewiring or moving the prop: in this order, and no further where a reading
        is not as it says.
      </p>
      {phases.map(({ title, steps }) => (
        <div key={title}>
          <h3>{title}</h3>
          <ol start={count + 1}>
            {steps.map((step) => {
              count++;
              return (
                <li key={step}>
                  <span class="box" /> {step}
                </li>
              );
            })}
          </ol>
        </div>
      ))}
    </>
  );
}

function Faults({ faults }: { faults: readonly Trace[] }) {
  return (
    <>
      <p>
        For each channel that does nothing, and for the other symptoms of the first channel of each
        kind: the rest is found in the same way. Take the steps in their order: where a reading is
        good, go on; where it is not, do what the last column says.
      </p>
      <div class="warn">
        <Items of={TRACE_CAUTIONS} />
      </div>
      {faults.map(({ channel, kind, symptom, steps, rail, fuse, wires }) => (
        <div class="fault" key={`${channel} ${symptom}`}>
          <h3>
            {channel} ({kind}): {symptom}{' '}
            <span class="soft">
              {[rail && `rail ${rail}`, fuse && `fuse ${fuse}`, wires.join(' ')]
                .filter(Boolean)
                .join(', ')}
            </span>
          </h3>
          <Table
            compact
            head={['', 'Power', 'Check', 'Good', 'Otherwise']}
            rows={steps.map(({ power, check, expect, otherwise }, i) => [
              i + 1,
              power,
              check,
              expect,
              otherwise,
            ])}
          />
        </div>
      ))}
    </>
  );
}

/** What every kind of channel says of itself, for the symptoms that the book has. */
export function faultsWanted(prop: Prop): { channel: string; symptom: Trace['symptom'] }[] {
  const seen = new Set<string>();
  return Object.entries(prop.channels).flatMap(([channel, spec]) => {
    const { symptoms } = kindOf(spec).faults;
    const isFirst = !seen.has(spec.kind);
    seen.add(spec.kind);
    return symptoms
      .filter((symptom) => isFirst || symptom === symptoms[0])
      .map((symptom) => ({ channel, symptom }));
  });
}
