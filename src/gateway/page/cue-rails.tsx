import './cue-rails.css';
import { useSignal, useSignalEffect } from '@preact/signals';
import { useEffect, useRef } from 'preact/hooks';
import type { CueRails as Plotted } from '../../api/types.ts';
import { AxisLabels, Grid } from '../../drawings/axis.tsx';
import { type Rail, RailGround, RailLoad } from '../../drawings/rail-lane.tsx';
import { cueLength, RAILS_CAPTION, railFigures, worstText } from '../../drawings/words.ts';
import { ask, version } from './store.ts';

const HEIGHT = 64;
/** Room for half of the first time (px). */
const EDGE = 12;

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
        {cutShort && `It ${cueLength(durationS, cutShort)}. `}
        {RAILS_CAPTION}
      </p>
    </>
  );
}

/** The columns of a plot as a time series: each holds its value from where it begins. */
function timeSeriesOf({ amps, ...rail }: Plotted['rails'][number], durationS: number): Rail {
  const tS = amps.map((_, i) => (Math.max(0, i - 1) * durationS) / (amps.length - 1));
  return { ...rail, amps, tS };
}

function Plot(props: { rail: Plotted['rails'][number]; durationS: number }) {
  const box = useRef<HTMLElement>(null);
  const width = useSignal(0);
  useEffect(() => {
    const observer = new ResizeObserver(([entry]) => {
      width.value = Math.floor(entry!.contentRect.width);
    });
    observer.observe(box.current!);
    return () => observer.disconnect();
  }, []);
  const rail = timeSeriesOf(props.rail, props.durationS);
  const figures = `${railFigures(rail)}, ${worstText(props.rail)}`;
  const endS = Math.max(props.durationS, 0.001);
  const axis = { left: EDGE, right: Math.max(width.value - EDGE, 2 * EDGE), endS };
  const lane = { rail, axis, y: 1, height: HEIGHT };
  return (
    <figure ref={box}>
      <figcaption class="number">
        <b>{rail.name}</b> {figures}
      </figcaption>
      <svg
        width={width.value}
        height={HEIGHT + 20}
        role="img"
        aria-label={`Load of ${rail.name}: ${figures}`}
      >
        <RailGround {...lane} />
        <Grid axis={axis} top={1} bottom={HEIGHT} />
        <RailLoad {...lane} limit="inside" />
        <AxisLabels axis={axis} y={HEIGHT + 15} />
      </svg>
    </figure>
  );
}
