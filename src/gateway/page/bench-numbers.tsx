import { type ReadonlySignal, useComputed, useSignal, useSignalEffect } from '@preact/signals';
import type { ChannelInfo, ChannelState, LinkageInfo, TorqueInfo } from '../../api/types.ts';
import { fixed } from '../../prop/senses.ts';
import { withMinus } from '../../shared/minus.ts';
import { KGF_CM_NM } from '../../sums/servo-line.ts';
import { WANTED_MARGIN } from '../../sums/torque.ts';
import { angle } from './angle.ts';
import { degText, envelopeDeg, rangeText } from './bench-moves.ts';
import { Dial, DialKey } from './dial.tsx';
import { measuredText } from './measured.ts';
import { isUnknown } from './standing.ts';
import { stateOf } from './store.ts';
import { flagWords } from './value.tsx';

/** A push is shown for this long after it was last reported (ms), so that a buzz does not flicker. */
const PUSH_SHOWN_MS = 800;

/** The flags of a channel in words; `at rest` when there are none. */
export const flagText = (flags: readonly string[], kind: ChannelInfo['kind']) =>
  flagWords(flags, kind) || 'at rest';

/** `0.42 A, measured`, or `estimated` where the board measures nothing. */
export const ampsText = ({ measuredA, amps }: ChannelState) =>
  measuredA === undefined
    ? `${amps.toFixed(2)} A, estimated`
    : `${withMinus(fixed(measuredA, 2))} A, measured`;

/** `0.42 N m (4.3 kgf cm)` */
const torque = (nm: number) => `${nm.toFixed(2)} N m (${(nm / KGF_CM_NM).toFixed(1)} kgf cm)`;

/** `2.4 x: 0.42 N m (4.3 kgf cm) of 1.00 N m (10.2 kgf cm), at 35 deg`. */
function torqueText({ worstNm, atDeg, stallNm, margin }: TorqueInfo): string {
  const at = `at ${degText(atDeg)}`;
  if (margin === undefined) return `${torque(worstNm)} ${at}; stall torque not given`;
  const weak = margin < WANTED_MARGIN ? ` (common practice: ${WANTED_MARGIN} x)` : '';
  return `${margin.toFixed(1)} x${weak}: ${torque(worstNm)} of ${torque(stallNm!)}, ${at}`;
}

type Edge = NonNullable<ChannelInfo['edge']>;

/** `up to 32 N at 40 deg (limit 20 N); backs off from 9 N on`, computed. */
function edgeText({ stallN, atDeg, pushN, limitN }: Edge): string {
  const limit = limitN === undefined ? 'no limit set' : `limit ${limitN} N`;
  if (stallN === undefined) return `stall torque not given (${limit})`;
  const over = limitN !== undefined && stallN > limitN ? 'above the' : '';
  const backs = pushN === undefined ? '; nothing notices a push' : `; backs off from ${pushN} N on`;
  return `up to ${stallN} N at ${degText(atDeg!)}, computed (${`${over} ${limit}`.trim()})${backs}`;
}

function linkageText({ transmissionDeg, transmissionAtDeg, advantage }: LinkageInfo): string {
  const [least, most] = advantage.map((times) => times.toFixed(2));
  return `${least} to ${most} x the torque; rod at ${degText(transmissionDeg)} to its arm, at ${degText(transmissionAtDeg)}`;
}

/** `0.24 A up, 0.21 A down, measured on 26 Nov 2026`, or `not measured`. */
export function freeRunningText(info: ChannelInfo): string {
  const { freeRunning } = info;
  const when = measuredText(info, 'freeRunning');
  if (!freeRunning) return when;
  const { risingA, fallingA } = freeRunning;
  return `${risingA.toFixed(2)} A up, ${fallingA.toFixed(2)} A down, ${when}`;
}

/** One number: only its text changes while it is shown. */
export function Figure({ label, text }: { label: string; text: () => string }) {
  const shown = useComputed(text);
  return (
    <div>
      <dt>{label}</dt>
      <dd class="number">{shown}</dd>
    </div>
  );
}

function ServoNumbers({ channel, info }: { channel: string; info: ChannelInfo }) {
  const state = stateOf(channel);
  const deg = (value: unknown) => (value === undefined ? 'not measured' : angle(value as number));
  const standing = (value: unknown) => (isUnknown(state.value) ? 'unknown' : deg(value));
  return (
    <dl class="figures">
      <Figure label="Angle" text={() => standing(state.value.value)} />
      <Figure label="Target" text={() => standing(state.value.target)} />
      <Figure label="Measured" text={() => deg(state.value.measuredDeg)} />
      <Figure
        label="Pulse"
        text={() => (state.value.pulseUs ? `${state.value.pulseUs.toFixed(0)} us` : 'none')}
      />
      <Figure label="Current" text={() => ampsText(state.value)} />
      <Figure label="State" text={() => flagText(state.value.flags, info.kind)} />
      <div>
        <dt>Soft limits</dt>
        <dd class="number">{rangeText(info.limitsDeg!)}</dd>
      </div>
      <div>
        <dt>Envelope</dt>
        <dd class="number">{rangeText(envelopeDeg(info))}</dd>
      </div>
      <div>
        <dt>True angle</dt>
        <dd>{measuredText(info, 'calibration')}</dd>
      </div>
      <div>
        <dt>Running free</dt>
        <dd>{freeRunningText(info)}</dd>
      </div>
      <div>
        <dt>Wire</dt>
        <dd>{info.wire ?? 'not in the loom'}</dd>
      </div>
      {info.torque && (
        <div>
          <dt>Torque margin</dt>
          <dd class="number">{torqueText(info.torque)}</dd>
        </div>
      )}
      {info.edge && (
        <div>
          <dt>Force at the edge</dt>
          <dd class="number">{edgeText(info.edge)}</dd>
        </div>
      )}
      {info.linkageFigures && (
        <div>
          <dt>Linkage</dt>
          <dd class="number">{linkageText(info.linkageFigures)}</dd>
        </div>
      )}
    </dl>
  );
}

/** True from the beginning of a push until it has been over for a moment. */
function usePushing(channel: string): ReadonlySignal<boolean> {
  const state = stateOf(channel);
  const raw = useComputed(() => state.value.pushing === true);
  const shown = useSignal(false);
  useSignalEffect(() => {
    if (raw.value) {
      shown.value = true;
      return;
    }
    const timer = setTimeout(() => {
      shown.value = false;
    }, PUSH_SHOWN_MS);
    return () => clearTimeout(timer);
  });
  return shown;
}

/** Where it stands, to be read from an arm's length: the angle, what it does, and a small dial. */
export function Reading({ channel, info }: { channel: string; info: ChannelInfo }) {
  const state = stateOf(channel);
  const pushing = usePushing(channel);
  const text = useComputed(() =>
    isUnknown(state.value) ? 'unknown' : angle(state.value.value as number),
  );
  const does = useComputed(() => {
    if (pushing.value) return '';
    const { flags, measuredDeg } = state.value;
    const words = flagText(flags, info.kind);
    // Where it counts, what is measured stands beside what is commanded.
    const apart = isUnknown(state.value) || flags.includes('astray');
    return apart && measuredDeg !== undefined ? `${words}: ${angle(measuredDeg)} measured` : words;
  });
  return (
    <div class={`reading ${pushing.value ? 'is-pushing' : ''}`}>
      <p class={`reading-angle number ${isUnknown(state.value) ? 'is-word' : ''}`}>{text}</p>
      <p class="reading-state soft">{does}</p>
      <p class="reading-push" role="status">
        {pushing.value && (
          <>
            <svg viewBox="0 0 24 24" width="20" height="20" aria-hidden="true">
              <path d="M2 12H14M10 7l5 5-5 5M19 3V21M22 3V21" />
            </svg>
            It pushes: the servo buzzes.
          </>
        )}
      </p>
      <Dial channel={channel} info={info} />
    </div>
  );
}

/** All that is known of a servo, and what the dial's shapes mean. */
export function ServoFigures({ channel, info }: { channel: string; info: ChannelInfo }) {
  return (
    <section class="sheet" aria-labelledby="bench-numbers">
      <h2 id="bench-numbers">Numbers</h2>
      <ServoNumbers channel={channel} info={info} />
      <DialKey />
    </section>
  );
}
