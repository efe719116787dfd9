import './cue-rails.css';
import { useSignal, useSignalEffect } from '@preact/signals';
import type { CueRails as Plotted } from '../../api/types.ts';
import { ask, version } from './store.ts';

const HEIGHT = 60;

/** The load of every rail during a cue, rehearsed by the daemon when it is unfolded. */
export function CueRails({ cue }: { cue: string }) {
  const plotted = useSignal<Plotted | undefined>(undefined);
  const failed = useSignal(false);
  const open = useSignal(false);
  // Again with every version of the prop file, while somebody looks.
  useSignalEffect(() => {
    if (open.value && version.value) void load();
  });
  const load = async () => {
    failed.value = false;
    const answer = await ask('budget.cue', { cue });
    if (answer) plotted.value = answer;
    else failed.value = true;
  };
  return (
    <details
      class="cue-rails"
      onToggle={(event) => {
        open.value = event.currentTarget.open;
      }}
    >
      <summary>
        Rail load<span class="unseen"> of {cue}</span>
      </summary>
      {plotted.value ? (
        <Plots {...plotted.value} />
      ) : (
        <p class="hint" role="status">
          {failed.value ? 'It could not be rehearsed.' : 'Rehearsing…'}
        </p>
      )}
    </details>
  );
}

function Plots({ durationS, cutShort, rails }: Plotted) {
  return (
    <>
      {rails.map((rail) => (
        <Plot key={rail.name} rail={rail} durationS={durationS} />
      ))}
      <p class="hint">
        {cutShort ? `Its first ${durationS.toFixed(0)} s. ` : ''}
        Estimated. Worst: if every servo that moves then were stalled.
      </p>
    </>
  );
}

function Plot({ rail, durationS }: { rail: Plotted['rails'][number]; durationS: number }) {
  const { name, limitA, peakA, peakAtS, worstA, amps } = rail;
  const top = 1.1 * Math.max(limitA, peakA);
  const y = (value: number) => HEIGHT - (value / top) * HEIGHT;
  const width = amps.length - 1;
  const line = amps.map((value, x) => `${x === 0 ? 'M' : 'L'}${x} ${y(value).toFixed(1)}`).join('');
  const figures =
    peakA === 0
      ? `no load, limit ${limitA} A`
      : `peak ${peakA.toFixed(2)} A of ${limitA} A at ${peakAtS.toFixed(1)} s, worst ${worstA.toFixed(2)} A`;
  return (
    <figure>
      <figcaption class="number">
        <b>{name}</b> {figures}
      </figcaption>
      <svg
        viewBox={`0 0 ${width} ${HEIGHT}`}
        preserveAspectRatio="none"
        role="img"
        aria-label={`Load of ${name}: ${figures}`}
      >
        <path class="load" d={`${line}V${HEIGHT}H0Z`} />
        <line class="limit" x1="0" y1={y(limitA)} x2={width} y2={y(limitA)} />
      </svg>
      <div class="ends hint number" aria-hidden="true">
        <span>0 s</span>
        <span>dashed: limit</span>
        <span>{durationS.toFixed(1)} s</span>
      </div>
    </figure>
  );
}
