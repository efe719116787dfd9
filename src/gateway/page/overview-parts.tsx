import { computed, type Signal, signal, useComputed } from '@preact/signals';
import type { ComponentChildren } from 'preact';
import { useId } from 'preact/hooks';
import type { Method, Params } from '../../api/methods.ts';
import { forPeople } from './for-people.ts';
import { ask, commanding, condition, holding, live } from './store.ts';

/** What the daemon said of the last request that it did not carry out at once. */
export const delayNote = signal('');

/** Asks for a motion or a switch, and keeps what is said about a delay. */
export async function command<M extends Method>(method: M, params: Params<M>): Promise<void> {
  const result = (await ask(method, params)) as { delayed?: string } | undefined;
  delayNote.value = forPeople(result?.delayed ?? '');
}

/** A box with a heading, whose controls work only while this page may command. */
export function ControlSheet({ title, children }: { title: string; children: ComponentChildren }) {
  const id = useId();
  return (
    <section class="sheet" aria-labelledby={id}>
      <h2 id={id}>{title}</h2>
      <WhyNot />
      <CommandSet labelledBy={id}>{children}</CommandSet>
    </section>
  );
}

/** Controls that work only while this page may command; why they do not, stands elsewhere. */
export function CommandSet(props: {
  class?: string;
  label?: string;
  /** The element that labels them, instead of a label. */
  labelledBy?: string;
  children: ComponentChildren;
}) {
  const disabled = useComputed(() => !commanding.value);
  return (
    <fieldset
      class={props.class}
      disabled={disabled}
      aria-label={props.label}
      aria-labelledby={props.labelledBy}
    >
      {props.children}
    </fieldset>
  );
}

/** Makes a channel show itself. */
export function Identify({ channel }: { channel: string }) {
  return (
    <button
      type="button"
      aria-label={`Identify ${channel}`}
      onClick={() => command('channel.identify', { channel })}
    >
      Identify
    </button>
  );
}

/** Why the controls beside it are disabled. */
export function WhyNot() {
  if (commanding.value) return null;
  return <p class="hint">{whyNot}</p>;
}

/** Why controls are disabled, and what to do; empty while they work. */
export const whyNot = computed(() => {
  if (commanding.value) return '';
  const take = holding.value ? [] : ['take control'];
  const stopped = condition.value === 'stopped' || condition.value === 'faulted';
  const wake = live.value ? [] : stopped ? ['reset the stop', 'wake the prop'] : ['wake the prop'];
  const steps = [...take, ...wake].join(' and ');
  return `${steps.charAt(0).toUpperCase() + steps.slice(1)} to use these.`;
});

/** A number that may be left empty. */
export function NumberField(props: {
  label: string;
  /** What is typed. */
  text: Signal<string>;
  min?: number;
  max?: number;
  required?: boolean;
}) {
  const { label, text, ...limits } = props;
  return (
    <label class="field">
      {label}{' '}
      <input
        type="number"
        step="any"
        inputMode="decimal"
        {...limits}
        value={text}
        onInput={(event) => {
          text.value = event.currentTarget.value;
        }}
      />
    </label>
  );
}

/** The number in a field, undefined when it is empty. */
export function numberIn(text: Signal<string>): number | undefined {
  return text.value.trim() === '' ? undefined : Number(text.value);
}
