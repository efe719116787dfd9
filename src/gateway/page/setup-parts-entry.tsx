import { useSignal } from '@preact/signals';
import { Act } from './act.tsx';
import { LevelEnds } from './setup-level-ends.tsx';
import {
  apply,
  busy,
  type Change,
  canWrite,
  type Data,
  file,
  mapOf,
  plan,
  said,
  section,
} from './setup-parts-data.ts';
import { Field, Fields, typedPins, typedValue, WRONG_PINS } from './setup-parts-field.tsx';
import { Ask, Choose, Line, PartForm } from './setup-parts-form.tsx';
import { TryOut } from './setup-parts-try.tsx';
import { wireEntries } from './setup-parts-wires.ts';
import { Tick } from './tick.tsx';
import { typedNumber } from './typed-number.ts';

interface PartProps {
  name: string;
  /** Its place among its like, from 0, and how many there are. */
  place: number;
  of: number;
}

type What = 'channel' | 'rail' | 'group' | 'pose' | 'wire' | 'mark' | 'sense';

function Rename({ what, name }: { what: What; name: string }) {
  return (
    <Ask
      label="Another name"
      button="Rename"
      start={name}
      say={`Rename ${name}`}
      onGo={(to) => void plan(`Rename ${what} ${name} to ${to}`, { do: 'rename', what, name, to })}
    />
  );
}

function Remove({ what, name }: { what: What; name: string }) {
  return (
    <Act
      can={!busy.value}
      aria-label={`Remove ${what} ${name}`}
      onAct={() => void plan(`Remove ${what} ${name}`, { do: 'remove', what, name })}
    >
      Remove
    </Act>
  );
}

function Order({
  what,
  name,
  place,
  of,
}: PartProps & { what: 'channel' | 'rail' | 'group' | 'pose' }) {
  const go = (to: number, words: string) =>
    void plan(`Move ${what} ${name} ${words}`, { do: 'order', what, name, place: to });
  return (
    <>
      <Act
        can={place > 0 && !busy.value}
        aria-label={`Move ${name} up`}
        onAct={() => go(place - 1, 'up')}
      >
        ▲ Up
      </Act>
      <Act
        can={place < of - 1 && !busy.value}
        aria-label={`Move ${name} down`}
        onAct={() => go(place + 1, 'down')}
      >
        ▼ Down
      </Act>
    </>
  );
}

// --- channels -------------------------------------------------------------------------------------

/** All of a channel: its fields, marks and place, and what can be done with it. */
export function ChannelPart(props: PartProps) {
  const { name } = props;
  const data = mapOf(section('channels')[name]);
  const kind = String(data.kind);
  const speed = useSignal('');
  const accel = useSignal('');
  const requires = (Array.isArray(data.requires) ? data.requires : []) as Data[];
  return (
    <div class="part">
      <p class="soft">
        A {kind}
        {requires.map((one) => (
          <span key={JSON.stringify(one)}>
            {' '}
            · interlock: needs {String(one.channel)}{' '}
            {'is' in one
              ? String(one.is)
              : 'above' in one
                ? `above ${one.above}`
                : `below ${one.below}`}
          </span>
        ))}
      </p>
      <Rename what="channel" name={name} />
      <Fields
        of={name}
        path={['channels', name]}
        data={data}
        explained={`channels.${kind}`}
        except={['kind', 'marks', 'wire', 'requires', 'output', 'rail', 'place', 'measured']}
        onText={(key, text) => {
          if (key === 'speedDegS') speed.value = text;
          if (key === 'accelDegS2') accel.value = text;
        }}
      />
      <TryOut channel={name} speed={speed} accel={accel} />
      {'calibration' in data && <Marks name={name} marks={mapOf(data.marks)} />}
      <Where name={name} data={data} />
      <div class="row">
        <Order what="channel" {...props} />
        <Remove what="channel" name={name} />
      </div>
    </div>
  );
}

function Marks({ name, marks }: { name: string; marks: Data }) {
  const mark = useSignal('');
  const deg = useSignal('');
  const add = () => {
    const called = mark.value.trim();
    const value = typedNumber(deg.value);
    if (!called || !Number.isFinite(value)) {
      said.value = 'Give the mark a name and an angle in deg.';
      return;
    }
    void plan(`Add mark ${called} to ${name}`, {
      do: 'add',
      what: 'mark',
      name: called,
      channels: [name],
      deg: value,
    });
  };
  return (
    <fieldset>
      <legend>Marks</legend>
      {Object.entries(marks).map(([one, at]) => (
        <Mark key={one} channel={name} mark={one} deg={at} />
      ))}
      <PartForm button="Add mark" can={!busy.value} onGo={add}>
        <Line
          label="New mark"
          value={mark.value}
          onText={(text) => {
            mark.value = text;
          }}
        />
        <Line
          label="Angle (deg)"
          value={deg.value}
          decimal
          onText={(text) => {
            deg.value = text;
          }}
        />
      </PartForm>
    </fieldset>
  );
}

/** Servos of the same groups that have a mark of that name. */
function matesOf(channel: string, mark: string): string[] {
  const all = section('channels');
  const mates = Object.values(section('groups'))
    .filter((members) => Array.isArray(members) && members.includes(channel))
    .flat() as string[];
  return [...new Set(mates)].filter(
    (one) => one !== channel && mark in mapOf(mapOf(all[one]).marks),
  );
}

function Mark({ channel, mark, deg }: { channel: string; mark: string; deg: unknown }) {
  const together = useSignal(true);
  const mates = matesOf(channel, mark);
  const channels = [channel, ...(together.value ? mates : [])];
  return (
    <div>
      <Field
        label={mark}
        what={`mark ${mark} of ${channel}`}
        path={['channels', channel, 'marks', mark]}
        value={deg}
        about="deg"
        must
      />
      <details>
        <summary>Rename or remove {mark}</summary>
        {mates.length > 0 && (
          <Tick
            checked={together.value}
            onTick={(checked) => {
              together.value = checked;
            }}
          >
            Also in {mates.join(', ')}
          </Tick>
        )}
        <Ask
          label="Another name"
          button="Rename"
          start={mark}
          say={`Rename mark ${mark} of ${channel}`}
          onGo={(to) =>
            void plan(`Rename mark ${mark} of ${channels.join(', ')} to ${to}`, {
              do: 'rename',
              what: 'mark',
              name: mark,
              to,
              channels,
            })
          }
        />
        <Act
          can={!busy.value}
          aria-label={`Remove mark ${mark} of ${channel}`}
          onAct={() =>
            void plan(`Remove mark ${mark} of ${channels.join(', ')}`, {
              do: 'remove',
              what: 'mark',
              name: mark,
              channels,
            })
          }
        >
          Remove
        </Act>
      </details>
    </div>
  );
}

/** Where it is connected, what feeds it, and when it parks. */
function Where({ name, data }: { name: string; data: Data }) {
  const output = mapOf(data.output);
  const pins = [output.pin, output.pins].flat().filter((one) => one !== undefined);
  const boards = Object.keys(section('boards'));
  const rails = Object.keys(section('rails'));
  const { stages = [] } = mapOf(file.value?.data.park) as { stages?: string[][] };
  const stage = stages.findIndex((one) => one.includes(name));
  const move = (title: string, change: object) =>
    void plan(title, { do: 'move', what: 'channel', name, ...change } as Change);
  return (
    <fieldset>
      <legend>Where it is connected</legend>
      <p>
        Board {String(output.board)}, {pins.length > 1 ? 'pins' : 'pin'} {pins.join(', ')}
      </p>
      <Ask
        label={pins.length > 1 ? 'Other pins' : 'Another pin'}
        button="Move"
        start={pins.join(' ')}
        say={`Move ${name} to another pin`}
        onGo={(text) => {
          const typed = typedPins(text);
          if (typed?.length) move(`Move ${name} to pin ${typed.join(', ')}`, { pins: typed });
          else said.value = WRONG_PINS;
        }}
      />
      <div class="row">
        {boards.map((board) => (
          <Act
            key={board}
            can={!busy.value}
            onAct={() => move(`Move ${name} to a free pin of ${board}`, { board })}
          >
            A free pin of {board}
          </Act>
        ))}
      </div>
      {rails.length > 0 && (
        <Choose
          label="Rail"
          options={[
            ...(data.rail === undefined ? [['', 'none'] as const] : []),
            ...rails.map((rail) => [rail, rail] as const),
          ]}
          value={String(data.rail ?? '')}
          onPick={(rail) => {
            if (rail) move(`Move ${name} to rail ${rail}`, { rail });
          }}
        />
      )}
      <Choose
        label="Parks in"
        options={[
          ['-1', 'no stage: last, with the rest'],
          ...stages.map((one, i) => [String(i), `stage ${i + 1}: ${one.join(', ')}`] as const),
          [String(stages.length), 'a new stage'],
        ]}
        value={String(stage)}
        onPick={(to) =>
          void plan(`Let ${name} park in another stage`, {
            do: 'move',
            what: 'stage',
            name,
            stage: Number(to),
          })
        }
      />
    </fieldset>
  );
}

// --- rails, groups, poses, wires ------------------------------------------------------------------

/** All of a rail. */
export function RailPart(props: PartProps) {
  const { name } = props;
  return (
    <div class="part">
      <Rename what="rail" name={name} />
      <Fields
        of={name}
        path={['rails', name]}
        data={mapOf(section('rails')[name])}
        explained="rails.NAME"
      />
      <div class="row">
        <Order what="rail" {...props} />
        <Remove what="rail" name={name} />
      </div>
    </div>
  );
}

/** All of what is measured. */
export function SensePart({ name }: PartProps) {
  const data = mapOf(section('senses')[name]);
  return (
    <div class="part">
      <Rename what="sense" name={name} />
      <Fields
        of={name}
        path={['senses', name]}
        data={data}
        explained={`senses.${data.kind}`}
        except={['kind']}
      />
      {data.kind === 'level' && <LevelEnds name={name} data={data} />}
      {data.kind === 'position' && (
        <p class="hint">
          Its points are measured at the bench: choose {String(data.channel)} there, then Calibrate
          the sensor.
        </p>
      )}
      <div class="row">
        <Remove what="sense" name={name} />
      </div>
    </div>
  );
}

/** All of a group. */
export function GroupPart(props: PartProps) {
  const { name } = props;
  const members = (section('groups')[name] ?? []) as string[];
  const others = [
    ...Object.entries(section('channels'))
      .filter(([, one]) => 'calibration' in mapOf(one))
      .map(([one]) => one),
    ...Object.keys(section('groups')),
  ].filter((one) => one !== name && !members.includes(one));
  return (
    <div class="part">
      <Rename what="group" name={name} />
      <ul class="parts-list">
        {members.map((member, i) => (
          <li key={member} class="row">
            <span>{member}</span>
            <Act
              can={canWrite.value && members.length > 1}
              aria-label={`Take ${member} out of ${name}`}
              onAct={() =>
                void apply(`${member} is out of group ${name}`, [{ path: ['groups', name, i] }])
              }
            >
              Take out
            </Act>
          </li>
        ))}
      </ul>
      <Choose
        label="Add to the group"
        options={[['', 'choose …'], ...others.map((one) => [one, one] as const)]}
        value=""
        onPick={(one) => {
          if (one)
            void apply(`${one} is in group ${name}`, [
              { path: ['groups', name, members.length], value: one },
            ]);
        }}
      />
      <div class="row">
        <Order what="group" {...props} />
        <Remove what="group" name={name} />
      </div>
    </div>
  );
}

/** All of a pose. */
export function PosePart(props: PartProps) {
  const { name } = props;
  const values = mapOf(section('poses')[name]);
  const channel = useSignal('');
  const others = Object.keys(section('channels')).filter((one) => !(one in values));
  return (
    <div class="part">
      <Rename what="pose" name={name} />
      {Object.entries(values).map(([one, value]) => (
        <Field
          key={one}
          label={one}
          what={`${one} in pose ${name}`}
          path={['poses', name, one]}
          value={value}
          about="deg or a mark, on or off, a colour, or 0 to 1; empty takes it out of the pose"
          must={Object.keys(values).length === 1}
        />
      ))}
      <Choose
        label="Add to the pose"
        options={[['', 'choose …'], ...others.map((one) => [one, one] as const)]}
        value={channel.value}
        onPick={(one) => {
          channel.value = one;
        }}
      />
      {channel.value && (
        <Ask
          label={`Value of ${channel.value}`}
          button="Add to pose"
          onGo={(text) => {
            const typed = typedValue(text, undefined);
            if (typed)
              void apply(`${channel.value} in pose ${name}`, [
                { path: ['poses', name, channel.value], value: typed.value },
              ]).then((done) => {
                if (done) channel.value = '';
              });
          }}
        />
      )}
      <div class="row">
        <Order what="pose" {...props} />
        <Remove what="pose" name={name} />
      </div>
    </div>
  );
}

/** All of a wire. */
export function WirePart({ name }: PartProps) {
  const wire = wireEntries(file.value!.data).find(({ label }) => label === name);
  if (!wire) return null;
  return (
    <div class="part">
      <Rename what="wire" name={name} />
      <Fields
        of={`wire ${name}`}
        path={wire.path}
        data={wire.data}
        explained="wires"
        except={['label', 'cores', 'channel', 'rail']}
      />
      {wire.cores.map((core, i) => (
        <fieldset key={`${core.role} ${core.from}`}>
          <legend>
            {core.role} {core.colour}
          </legend>
          {(['from', 'to'] as const).map((end) => (
            <Ask
              key={`${end} ${core[end]}`}
              label={end}
              button="Move"
              start={core[end]}
              say={`Move ${end} of ${core.role} of ${name}`}
              onGo={(to) =>
                void plan(`Move ${core.role} of wire ${name} to ${to}`, {
                  do: 'move',
                  what: 'wire',
                  name,
                  core: i,
                  end,
                  to,
                })
              }
            />
          ))}
        </fieldset>
      ))}
      <div class="row">
        <Remove what="wire" name={name} />
      </div>
    </div>
  );
}
