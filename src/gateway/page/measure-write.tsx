import { type Signal, useSignal } from '@preact/signals';
import type { ChannelInfo } from '../../api/types.ts';
import type { Measurable } from '../../shared/measured.ts';
import { Act } from './act.tsx';
import { fileNews } from './file-news.ts';
import { type Edit, measuredEdit, today } from './measured.ts';
import type { ChannelProps } from './page-kind.ts';
import { ask, channels, condition, holding, version, write } from './store.ts';

/** What a measurement writes into the prop file, and what becomes of it. */

export const WAITS = 'Written to the prop file. It counts once the prop is parked.';

interface RowProps extends ChannelProps {
  label: string;
  /** Gets what became of it. */
  say: Signal<string>;
  onWritten?: () => void;
}

interface WriteProps extends RowProps {
  /** For people: `the calibration of beak`. */
  what: string;
  /** Worked out when it is pressed, from what the page knows then; all of them are written, or none. */
  edits: (info: ChannelInfo, date: string) => Edit[];
  can?: boolean;
}

/** The button that writes, and beside it why it may have to wait, and Park. */
export function WriteRow(props: WriteProps) {
  const { channel, info, label, what, edits, can = true, say, onWritten } = props;
  const busy = useSignal(false);
  const send = async () => {
    const changes = edits(channels.peek()[channel] ?? info, today());
    busy.value = true;
    // They were worked out from what this version says: another one refuses them.
    const result = await write(what, 'prop.apply', { edits: changes, version: version.peek() });
    busy.value = false;
    if (!result) {
      say.value = 'Not written. What you measured is still here.';
      return;
    }
    onWritten?.();
    say.value = result.pending ? WAITS : 'Written to the prop file, and it counts now.';
  };
  return (
    <p class="row decision">
      <Act class="primary big" can={can && holding.value && !busy.value} onAct={() => void send()}>
        {label}
      </Act>
      {!holding.value && (
        <span class="hint">First take control, with the first button at the bottom.</span>
      )}
    </p>
  );
}

/** The button that notes in the prop file what was measured, and is as the file has it. */
export function NoteRow({ measured, ...props }: RowProps & { measured: Measurable }) {
  const { channel } = props;
  return (
    <WriteRow
      {...props}
      what={`the measurement of ${channel}`}
      edits={(info, date) => [measuredEdit(channel, measured, info, date)]}
    />
  );
}

/** What became of what was written, where the hand is, and Park while it waits for that. */
export function Said({ say }: { say: Signal<string> }) {
  return (
    <>
      <p role="status" class="message">
        {say}
      </p>
      {say.value === WAITS && <ParkOffer />}
    </>
  );
}

function ParkOffer() {
  if (fileNews.value?.kind !== 'waits' || condition.value === 'parked') return null;
  return (
    <div class="measure-offer" role="status">
      <p>
        What was written waits until the prop is parked; until then the old values count. Parking
        moves it: fingers out.
      </p>
      <p class="row">
        <Act
          can={condition.value === 'live'}
          onAct={() => {
            void ask('park', {});
          }}
        >
          Park now
        </Act>
      </p>
    </div>
  );
}
