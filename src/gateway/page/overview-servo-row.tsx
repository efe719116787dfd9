import { useComputed, useSignal } from '@preact/signals';
import { angle } from './angle.ts';
import { useOneAtATime } from './one-at-a-time.ts';
import { Track } from './overview-controls.tsx';
import { command, NumberField, numberIn } from './overview-parts.tsx';
import type { ChannelProps, PageKind } from './page-kind.ts';
import { ask, commanding } from './store.ts';

const JOGS_DEG = [-5, -1, 1, 5] as const;

/** What a servo has in a short row, and in the part of it that opens. */
export const SERVO_ROW: PageKind['row'] = {
  Track: ({ info, state }) => <Track info={info} state={state} showsPark />,
  Quick,
  Hand,
};

function useJog(channel: string) {
  const alone = useOneAtATime();
  return (byDeg: number) => alone(() => ask('channel.jog', { channel, byDeg }));
}

const jogName = (channel: string, byDeg: number) =>
  `Jog ${channel} by ${byDeg < 0 ? 'minus' : 'plus'} ${Math.abs(byDeg)} deg`;

const jogText = (byDeg: number) => `${byDeg < 0 ? '−' : '+'}${Math.abs(byDeg)}°`;

/** Two jog keys beside the row, for a mouse alone: a finger that scrolls could hit them. */
function Quick({ channel }: ChannelProps) {
  const jog = useJog(channel);
  const disabled = useComputed(() => !commanding.value);
  return (
    <>
      {([-1, 1] as const).map((byDeg) => (
        <button
          key={byDeg}
          type="button"
          disabled={disabled}
          aria-label={jogName(channel, byDeg)}
          title={jogText(byDeg)}
          onClick={() => void jog(byDeg)}
        >
          {byDeg < 0 ? '−' : '+'}
        </button>
      ))}
    </>
  );
}

/** Everything that moves the servo from its row: jog keys, its marks, an angle. */
function Hand({ channel, info }: ChannelProps) {
  const jog = useJog(channel);
  const to = useSignal('');
  const said = useSignal('');
  const [low, high] = info.limitsDeg ?? [0, 0];
  const onJog = async (byDeg: number) => {
    const answer = await jog(byDeg);
    if (answer) said.value = answer.limited ? `At its limit, ${angle(answer.target)}.` : '';
  };
  const move = (target: number | string) => {
    said.value = '';
    return command('channel.move', { channel, to: target });
  };
  return (
    <>
      <div class="row jogs">
        {JOGS_DEG.map((byDeg) => (
          <button
            key={byDeg}
            type="button"
            aria-label={jogName(channel, byDeg)}
            onClick={() => void onJog(byDeg)}
          >
            {jogText(byDeg)}
          </button>
        ))}
      </div>
      <div class="row">
        {Object.entries(info.marks ?? {}).map(([mark, deg]) => (
          <button
            key={mark}
            type="button"
            aria-label={`${mark}: move ${channel}`}
            onClick={() => move(mark)}
          >
            {mark} <span class="soft number">{angle(deg)}</span>
          </button>
        ))}
      </div>
      <form
        class="row"
        onSubmit={(event) => {
          event.preventDefault();
          const deg = numberIn(to);
          if (deg !== undefined) void move(deg);
        }}
      >
        <NumberField label="to (deg)" text={to} min={low} max={high} required />
        <button type="submit" aria-label={`Move ${channel} to the angle`}>
          Move
        </button>
        <span class="hint number" role="status">
          {said.value || `${angle(low)} to ${angle(high)}`}
        </span>
      </form>
    </>
  );
}
