import './overview-senses.css';
import { computed } from '@preact/signals';
import type { SenseInfo } from '../../api/types.ts';
import { SENSE_LIMITS, type SenseLimitName, senseText } from '../../prop/senses.ts';
import { paced } from './pace.ts';
import { senseInfos, useSenseInfos } from './sense-infos.ts';
import { senses } from './store.ts';

const anything = computed(() => Object.keys(senses.value).length > 0);

/** Everything that is measured: its value, its limits, and what is wrong with it. */
export function Senses() {
  useSenseInfos();
  if (!anything.value) return null;
  const list = Object.entries(senseInfos.value);
  return (
    <section class="sheet" aria-labelledby="senses">
      <h2 id="senses">Measured</h2>
      <ul class="senses">
        {list.map(([name, info]) => (
          <SenseRow key={name} name={name} info={info} />
        ))}
      </ul>
    </section>
  );
}

function SenseRow({ name, info }: { name: string; info: SenseInfo }) {
  const state = paced(senses)[name];
  if (!state) return null;
  const { value, fault, warning, low } = state;
  const of = info.rail ?? info.channel;
  const limits = limitsText(info);
  return (
    <li class={fault || warning || low ? 'is-amiss' : undefined}>
      <p class="line">
        <span class="name">
          {name}
          {of !== undefined && <span class="soft"> of {of}</span>}
        </span>{' '}
        <span class="value number">
          {value === null ? 'not measured' : senseText(info.kind, value)}
        </span>
      </p>
      {limits && <p class="hint">{limits}</p>}
      {[low, fault, warning].map(
        (text) =>
          text !== undefined && (
            <p key={text} class="amiss" role="status">
              {text}.
            </p>
          ),
      )}
    </li>
  );
}

const WORDS: Record<SenseLimitName, string> = {
  parkBelow: 'Parks below',
  warnBelow: 'Warns below',
  warnAbove: 'Warns above',
  pushAboveA: 'Backs off above',
};

/** `Parks below 5.20 V. Warns below 5.50 V.` */
function limitsText({ kind, limits }: SenseInfo): string {
  const { dipBelow } = limits;
  const dips = dipBelow === undefined ? [] : [`Reports dips below ${senseText(kind, dipBelow)}.`];
  const others = SENSE_LIMITS.flatMap((name) => {
    const at = limits[name];
    if (at === undefined) return [];
    if (kind === 'contact')
      return [`Warns while it is ${senseText(kind, name === 'warnAbove' ? 1 : 0)}.`];
    return [`${WORDS[name]} ${senseText(kind, at)}.`];
  });
  return [...others, ...dips].join(' ');
}
