/** A value and its words; a value alone is its own words. */
export type Option = string | readonly [value: string, words: string];
/** Options under a heading of their own; without options it is left out. */
interface OptionGroup {
  group: string;
  options: readonly Option[];
}

export interface SelectProps {
  label: string;
  value: string;
  options: readonly (Option | OptionGroup)[];
  onPick: (value: string) => void;
  class?: string;
}

const isGroup = (one: Option | OptionGroup): one is OptionGroup =>
  typeof one === 'object' && 'group' in one;
const valueIn = (one: Option): string => (typeof one === 'string' ? one : one[0]);

/** A label and a list to choose from. A value that is not in the list is shown as it is. */
export function Select({ label, value, options, onPick, class: name }: SelectProps) {
  const all = options.flatMap((one) => (isGroup(one) ? one.options : [one]));
  const isListed = all.some((one) => valueIn(one) === value);
  return (
    <label class={name}>
      {label}{' '}
      <select
        value={value}
        onChange={(event) => {
          onPick(event.currentTarget.value);
          // What is chosen may be asked about first: until then it is as it was.
          event.currentTarget.value = value;
        }}
      >
        {!isListed && <option value={value}>{value || 'choose…'}</option>}
        {options.map((one) =>
          isGroup(one)
            ? one.options.length > 0 && (
                <optgroup key={`group ${one.group}`} label={one.group}>
                  {one.options.map(choice)}
                </optgroup>
              )
            : choice(one),
        )}
      </select>
    </label>
  );
}

function choice(one: Option) {
  const value = valueIn(one);
  return (
    <option key={value} value={value}>
      {typeof one === 'string' ? one : one[1]}
    </option>
  );
}
