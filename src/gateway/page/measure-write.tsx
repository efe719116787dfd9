import { type Signal, useSignal } from '@preact/signals';
import type { Result } from '../../api/methods.ts';
import { Act } from './act.tsx';
import { fileNews } from './file-news.ts';
import type { Edit } from './measure-points.ts';
import { ask, condition, holding, version, write } from './store.ts';

/** What a measurement writes into the prop file, and what becomes of it. */

/**
 * Writes all of it or nothing; undefined where it was refused, which the page shows.
 * @param what for people: `the calibration of beak`
 */
export function writeMeasured(
  what: string,
  edits: Edit[],
): Promise<Result<'prop.apply'> | undefined> {
  // The edits were worked out from what this version says: another one refuses them.
  return write(what, 'prop.apply', { edits, version: version.peek() });
}

const WAITS = 'Written to the prop file. It counts once the prop is parked.';

interface WriteProps {
  label: string;
  /** For people: `the calibration of beak`. */
  what: string;
  /** Worked out when it is pressed, from what the page knows then. */
  edits: () => Edit[];
  can: boolean;
  say: Signal<string>;
  onWritten: () => void;
}

/** The button that writes, and beside it why it may have to wait, and Park. */
export function WriteRow({ label, what, edits, can, say, onWritten }: WriteProps) {
  const busy = useSignal(false);
  const send = async () => {
    busy.value = true;
    const result = await writeMeasured(what, edits());
    busy.value = false;
    if (!result) {
      say.value = 'Not written. What you measured is still here.';
      return;
    }
    onWritten();
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
