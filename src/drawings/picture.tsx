import type { ComponentChildren } from 'preact';

/** Width of every separate picture (px). */
export const WIDTH = 1200;

/** A complete SVG document with its own style and a description in words. */
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
