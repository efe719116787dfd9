import type { ComponentChildren } from 'preact';

/** Width of every picture that stands by itself (px). */
export const WIDTH = 1200;

/** A picture that needs nothing else: an SVG document with its own style, told in words as well. */
export function Picture(props: {
  title: string;
  desc: string;
  height: number;
  style: string;
  children: ComponentChildren;
}) {
  const height = Math.ceil(props.height);
  return (
    <svg
      xmlns="http://www.w3.org/2000/svg"
      width={WIDTH}
      height={height}
      viewBox={`0 0 ${WIDTH} ${height}`}
      role="img"
      aria-labelledby="title desc"
    >
      <title id="title">{props.title}</title>
      <desc id="desc">{props.desc}</desc>
      <style>{props.style}</style>
      <rect class="paper" width={WIDTH} height={height} />
      {props.children}
    </svg>
  );
}
