import { useComputed, useSignal } from '@preact/signals';
import { Act } from './act.tsx';
import { angle } from './angle.ts';
import { CaptureRow, Message } from './bench-capture.tsx';
import { SenseWalkPart } from './bench-sense-walk.tsx';
import { askFirst } from './confirm.tsx';
import type { ChannelProps } from './page-kind.ts';
import { senseInfos, useSenseInfos } from './sense-infos.ts';
import { ask, commanding, stateOf } from './store.ts';

/** The name of the sense that measures the angle of a servo. */
function positionSenseOf(channel: string): string | undefined {
  const all = Object.entries(senseInfos.value);
  return all.find(([, one]) => one.kind === 'position' && one.channel === channel)?.[0];
}

/** What a servo has at the bench once a sense measures its angle. */
export function SensedParts(props: ChannelProps) {
  useSenseInfos();
  const sense = positionSenseOf(props.channel);
  if (sense === undefined) return null;
  return (
    <>
      <ByHand {...props} />
      <SenseWalkPart {...props} sense={sense} />
    </>
  );
}

/** Marks and limits shown by hand: a servo whose angle is measured. */
function ByHand({ channel, info }: ChannelProps) {
  const say = useSignal('');
  const state = stateOf(channel);
  const isLimp = useComputed(() => state.value.flags.includes('released') && commanding.value);
  const measured = useComputed(() =>
    state.value.measuredDeg === undefined ? 'not measured' : angle(state.value.measuredDeg),
  );
  const begin = () =>
    askFirst({
      title: `Let ${channel} go limp`,
      text: `Its pulses stop, and a heavy flap falls: hold it, or prop it. Nothing else moves meanwhile, except that a stop, a park and a lost link do what they always do: keep fingers out of the hinges of other parts.`,
      yes: 'I hold it: let it go limp',
      act: () => {
        say.value = '';
        void ask('teach.begin', { channels: [channel] });
      },
    });
  const end = () =>
    askFirst({
      title: 'Are all hands clear?',
      text: `${channel} gets its pulses where it is measured, and moves a little. If its sensor is wrong, it jumps.`,
      yes: 'Hands are clear: hold it there',
      act: () => {
        say.value = '';
        void ask('teach.end', { confirm: 'clear', wait: true });
      },
    });
  return (
    <section class="sheet" aria-labelledby="bench-by-hand">
      <h2 id="bench-by-hand">By hand</h2>
      {isLimp.value ? (
        <>
          <p class="notice" role="status">
            <strong>{channel} is limp.</strong> Turn it by hand, and hold it still for two seconds.
            Measured: <span class="number">{measured}</span>
          </p>
          <CaptureRow channel={channel} info={info} say={say} from="measured" />
          <p class="row">
            <Act class="primary" can={commanding.value} onAct={end}>
              Hold it where it is…
            </Act>
          </p>
        </>
      ) : (
        <>
          <p>
            Turn it by hand instead of moving it: the sensor shows where it is, and marks and limits
            are written from there.
          </p>
          <p class="row">
            <Act can={commanding.value} onAct={begin}>
              Let it go limp…
            </Act>
          </p>
        </>
      )}
      <Message text={say} />
    </section>
  );
}
