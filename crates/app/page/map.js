// @ts-check
// The map that a person moves, in place of the picture that stands there without script: the same boards, as links, over the ground.
import * as ol from './vendor/openlayers.js';

/**
 * @typedef {{ name: string, page: string, verdict: string, latitude_deg: number, longitude_deg: number, moves: boolean, is_enrolled: boolean }} Standing
 * @typedef {{ name: string, latitude_deg: number, longitude_deg: number }} Gateway
 * @typedef {{ address: string, finest: number, credit: string | null }} Tiles
 * @typedef {{ latitude_deg: number, longitude_deg: number, accuracy_m: number }} Fix
 * @typedef {{ name: string, fixes: Fix[], is_stale: boolean, ago: string }} Way
 * @typedef {{ name: string, rings: number[][][] }} Border
 * @typedef {{ edges_deg: number[], ground: Tiles | null, basemap: Tiles | null, nodes: Standing[], gateways: Gateway[], tracks: Way[], areas: Border[], may_move: boolean }} Shown
 * @typedef {{ node: Standing, link: HTMLAnchorElement, overlay: InstanceType<typeof ol.Overlay> }} Board
 */

/** Strokes as everywhere: whole, dashed, broken with a bar across the gap, dotted. @type {Record<string, [string, string]>} */
const STROKES = {
  holds: ['holds', 'M2 8H38'],
  tight: ['doubt', 'M2 8h8m6 0h8m6 0h8'],
  fails: ['fails', 'M2 8h13m10 0h13M20 1v14'],
  'not known': ['doubt', 'M2 8h3m5.2 0h3m5.2 0h3m5.2 0h3m5.2 0h3'],
};
/** A board, its post, and a letter of its name on average [px]. */
const BOARD = { wide: 38, high: 26, letter: 7 };
/** A gateway's house, and where its name begins at the left [px]. */
const HOUSE = { high: 14, name: 10 };
/** Closest view [levels of a web map]. */
const CLOSEST = 19;
/** An arrow key moves a board by so much, with shift by ten times as much [px]. */
const STEP = 2;
/** More than this between down and up is no click [px]. */
const STEADY = 6;
/** Mean radius of the earth [m]. */
const EARTH = 6_371_008.8;

const SVG = 'http://www.w3.org/2000/svg';
const section = /** @type {HTMLElement} */ (document.getElementById('map'));

/**
 * @template {keyof HTMLElementTagNameMap} K
 * @param {K} tag @param {string} name @param {string} [text]
 * @returns {HTMLElementTagNameMap[K]}
 */
function element(tag, name, text) {
  const made = document.createElement(tag);
  made.className = name;
  if (text !== undefined) made.textContent = text;
  return made;
}

/** @param {string} name */
const colour = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();
/** @param {{ latitude_deg: number, longitude_deg: number }} at */
const place = (at) => ol.fromLonLat([at.longitude_deg, at.latitude_deg]);

/** Metres between two places on the sphere (haversine). @param {number[]} one @param {number[]} other longitude and latitude [degrees] */
function distance(one, other) {
  const [east, north, toEast, toNorth] = [...one, ...other].map((degrees) => (degrees * Math.PI) / 180);
  const square = Math.sin((toNorth - north) / 2) ** 2 + Math.cos(north) * Math.cos(toNorth) * Math.sin((toEast - east) / 2) ** 2;
  return 2 * EARTH * Math.asin(Math.sqrt(square));
}

/** @param {number} metres */
const length = (metres) => (metres < 1000 ? `${metres.toFixed(0)} m` : `${(metres / 1000).toFixed(metres < 10_000 ? 1 : 0)} km`);

/** @param {string} kind @param {string} path */
function stroke(kind, path) {
  const svg = document.createElementNS(SVG, 'svg');
  for (const [key, value] of Object.entries({ class: 'stroke', viewBox: '0 0 40 16', 'aria-hidden': 'true' })) svg.setAttribute(key, value);
  const line = document.createElementNS(SVG, 'path');
  line.setAttribute('class', kind);
  line.setAttribute('d', path);
  svg.append(line);
  return svg;
}

/** @param {Standing} node @param {HTMLAnchorElement} link */
function paint(node, link) {
  const [kind, path] = STROKES[node.verdict] ?? STROKES['not known'];
  const board = element('span', 'face');
  board.append(stroke(kind, path));
  link.className = `board ${kind}`;
  link.title = `${node.name}: ${node.verdict}`;
  link.href = node.page;
  link.replaceChildren(board, element('span', 'name', node.name), element('span', 'unseen', `: ${node.verdict}`));
}

class Ground {
  /** @param {Shown} shown @param {HTMLElement} target */
  constructor(shown, target) {
    /** @type {Board[]} */
    this.boards = [];
    this.gateways = shown.gateways;
    /** How old the place of a node that moves is, by its name. @type {Map<string, string>} */
    this.ages = new Map();
    /** Borders of areas, and where nodes that move have been. */
    this.lines = new ol.VectorSource();
    this.edges = ol.transformExtent(shown.edges_deg, 'EPSG:4326', 'EPSG:3857');
    const tiles = [shown.basemap, shown.ground].filter((one) => one !== null);
    this.map = new ol.Map({
      target,
      controls: [],
      interactions: ol.interactions({ onFocusOnly: true, altShiftDragRotate: false, pinchRotate: false }),
      layers: [
        ...tiles.map((one) => new ol.TileLayer({ source: new ol.XYZ({ url: one.address, maxZoom: one.finest }) })),
        new ol.VectorLayer({ source: this.lines }),
      ],
      view: new ol.View({ center: ol.getCenter(this.edges), zoom: 10, maxZoom: CLOSEST, enableRotation: false }),
    });
    for (const gateway of shown.gateways) this.house(gateway);
    this.draw(shown);
    this.nodes(shown.nodes);
    this.all();
    this.map.on('moveend', () => this.settle());
  }

  /** @param {Gateway} gateway */
  house(gateway) {
    const at = element('div', 'house');
    at.append(element('span', 'name', gateway.name));
    at.title = `gateway ${gateway.name}`;
    this.map.addOverlay(new ol.Overlay({ element: at, position: place(gateway), positioning: 'bottom-center', stopEvent: false, insertFirst: false }));
  }

  /** Areas dashed; each track as a line with rings as wide as its positions may err, the last one dashed where it is old. @param {Shown} shown */
  draw({ areas, tracks }) {
    const ink = new ol.Stroke({ color: colour('--ink'), width: 1.5, lineDash: [6, 4] });
    const [track, old] = [undefined, [3, 3]].map((lineDash) => new ol.Stroke({ color: colour('--spend'), width: 1.6, lineDash }));
    this.lines.clear();
    /** @param {InstanceType<typeof ol.Polygon> | InstanceType<typeof ol.LineString>} shape @param {InstanceType<typeof ol.Style>} style */
    const add = (shape, style) => {
      const feature = new ol.Feature(shape.transform('EPSG:4326', 'EPSG:3857'));
      feature.setStyle(style);
      this.lines.addFeature(feature);
    };
    for (const area of areas) for (const ring of area.rings) add(new ol.LineString(ring), new ol.Style({ stroke: ink }));
    for (const { fixes, is_stale: isStale } of tracks) {
      add(new ol.LineString(fixes.map((fix) => [fix.longitude_deg, fix.latitude_deg])), new ol.Style({ stroke: track }));
      fixes.forEach((fix, at) => {
        const stroke = isStale && at + 1 === fixes.length ? old : track;
        add(ol.circular([fix.longitude_deg, fix.latitude_deg], fix.accuracy_m), new ol.Style({ stroke }));
      });
    }
    this.ages = new Map(tracks.map((way) => [way.name, `${way.is_stale ? 'it was here' : 'found'} ${way.ago}`]));
  }

  /** Boards that are there are painted anew, so that what has the focus keeps it. @param {Standing[]} nodes worst first */
  nodes(nodes) {
    const known = new Map(this.boards.map((board) => [board.node.name, board]));
    this.boards = nodes.map((node) => {
      const board = known.get(node.name) ?? this.board(node);
      known.delete(node.name);
      if (board.node.verdict !== node.verdict || !board.link.firstChild) paint(node, board.link);
      const age = this.ages.get(node.name);
      if (age) board.link.title = `${node.name}: ${node.verdict}, ${age}`;
      board.node = node;
      board.overlay.setPosition(place(node));
      return board;
    });
    for (const board of known.values()) this.map.removeOverlay(board.overlay);
    this.settle();
  }

  /** @param {Standing} node @returns {Board} */
  board(node) {
    const link = document.createElement('a');
    const overlay = new ol.Overlay({ element: link, positioning: 'bottom-center', stopEvent: false, insertFirst: false });
    this.map.addOverlay(overlay);
    let down = [0, 0];
    link.draggable = false;
    link.addEventListener('pointerdown', (event) => { down = [event.clientX, event.clientY]; });
    // A press that moved the map opens no page.
    link.addEventListener('click', (event) => {
      const pressed = event.detail > 0;
      if (pressed && Math.hypot(event.clientX - down[0], event.clientY - down[1]) > STEADY) event.preventDefault();
    });
    return { node, link, overlay };
  }

  /** Where boards crowd, the worse verdict keeps its board, and the others become dots. */
  settle() {
    const taken = this.gateways.flatMap((gateway) => {
      const pixel = this.map.getPixelFromCoordinate(place(gateway));
      return pixel ? [[pixel[0] - HOUSE.name - BOARD.letter * gateway.name.length, pixel[1] - HOUSE.high, pixel[0] + HOUSE.high / 2, pixel[1]]] : [];
    });
    const [wide] = this.map.getSize() ?? [Infinity];
    for (const { node, link, overlay } of this.boards) {
      const at = overlay.getPosition();
      const pixel = at && this.map.getPixelFromCoordinate(at);
      if (!pixel) continue;
      const [x, y] = pixel;
      const name = BOARD.letter * node.name.length;
      const isLeft = x + BOARD.wide / 2 + name > wide && x - BOARD.wide / 2 - name > 0;
      const room = [x - BOARD.wide / 2 - (isLeft ? name : 0), y - BOARD.high, x + BOARD.wide / 2 + (isLeft ? 0 : name), y];
      const isFree = taken.every((other) => room[2] < other[0] || other[2] < room[0] || room[3] < other[1] || other[3] < room[1]);
      if (isFree) taken.push(room);
      link.classList.toggle('dot', !isFree);
      // Where its name would be cut at the edge of the map, it stands on the other side.
      link.classList.toggle('leftward', isLeft);
      // A dot never hides a board.
      if (link.parentElement) link.parentElement.style.zIndex = isFree ? '1' : '';
    }
  }

  all() {
    this.map.getView().fit(this.edges, { size: this.map.getSize(), padding: [30, 30, 10, 30] });
  }

  /** @param {number} levels */
  closer(levels) {
    const view = this.map.getView();
    view.animate({ zoom: (view.getZoom() ?? 10) + levels, duration: matchMedia('(prefers-reduced-motion: reduce)').matches ? 0 : 150 });
  }
}

/** A line of about so many pixels that is a round number of metres. @param {InstanceType<typeof ol.Map>} map @param {HTMLElement} line */
function scale(map, line) {
  const view = map.getView();
  const [, north] = ol.toLonLat(view.getCenter() ?? [0, 0]);
  const metres = (view.getResolution() ?? 1) * Math.cos((north * Math.PI) / 180);
  const most = 120 * metres;
  const power = 10 ** Math.floor(Math.log10(most));
  const round = [5, 2, 1].map((one) => one * power).find((one) => one <= most) ?? power;
  line.style.width = `${round / metres}px`;
  line.textContent = round < 1000 ? `${round} m` : `${round / 1000} km`;
}

/** Nodes are put elsewhere: dragged, or moved by arrow keys; nothing is written before that is asked for. */
class Moving {
  /** @param {Ground} ground @param {HTMLElement} words @param {HTMLElement} said */
  constructor(ground, words, said) {
    this.ground = ground;
    this.said = said;
    this.on = element('button', '', 'move a node');
    this.put = element('button', '', 'put it here');
    this.back = element('button', '', 'back');
    /** @type {Board | null} */
    this.board = null;
    words.append(this.on, this.put, this.back);
    this.on.setAttribute('aria-pressed', 'false');
    this.on.addEventListener('click', () => this.turn(!this.isOn()));
    this.put.addEventListener('click', () => void this.write());
    this.back.addEventListener('click', () => this.restore());
    this.offer(null);
    for (const board of ground.boards) this.listen(board);
  }

  isOn() {
    return this.on.getAttribute('aria-pressed') === 'true';
  }

  /** @param {boolean} isOn */
  turn(isOn) {
    this.on.setAttribute('aria-pressed', String(isOn));
    section.classList.toggle('moving', isOn);
    if (!isOn) this.restore();
    this.said.textContent = isOn ? 'Drag a board, or choose it with the tab key and move it with the arrow keys. Nothing is written yet.' : '';
  }

  /** @param {Board} board */
  listen(board) {
    const { link, overlay } = board;
    const { map } = this.ground;
    const may = () => this.isOn() && this.allows(board);
    link.addEventListener('pointerdown', (event) => {
      if (!may()) return;
      event.stopPropagation();
      link.setPointerCapture(event.pointerId);
    });
    link.addEventListener('pointermove', (event) => {
      if (!may() || !link.hasPointerCapture(event.pointerId)) return;
      overlay.setPosition(map.getEventCoordinate(event));
      this.offer(board);
    });
    link.addEventListener('click', (event) => { if (this.isOn()) event.preventDefault(); });
    link.addEventListener('keydown', (event) => {
      const step = (event.shiftKey ? 10 : 1) * STEP * (map.getView().getResolution() ?? 1);
      const by = { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, step], ArrowDown: [0, -step] }[event.key];
      const at = overlay.getPosition();
      if (!by || !at || !may()) return;
      event.preventDefault();
      event.stopPropagation();
      overlay.setPosition([at[0] + by[0], at[1] + by[1]]);
      this.offer(board);
    });
  }

  /** @param {Board} board */
  allows({ node }) {
    if (!node.is_enrolled) this.said.textContent = `${node.name} is not enrolled: its place stands in the site file.`;
    if (node.moves) this.said.textContent = `${node.name} says itself where it is.`;
    return node.is_enrolled && !node.moves;
  }

  /** @param {Board | null} board */
  offer(board) {
    if (this.board && this.board !== board) this.restore();
    this.board = board;
    this.put.hidden = this.back.hidden = !board;
    const at = board?.overlay.getPosition();
    if (!board || !at) return;
    const [east, north] = ol.toLonLat(at);
    const moved = distance([board.node.longitude_deg, board.node.latitude_deg], [east, north]);
    this.said.textContent = `${board.node.name}: ${north.toFixed(5)}° north, ${east.toFixed(5)}° east, ${length(moved)} from where it stands.`;
  }

  restore() {
    const board = this.board;
    this.board = null;
    this.put.hidden = this.back.hidden = true;
    if (board) board.overlay.setPosition(place(board.node));
  }

  async write() {
    const at = this.board?.overlay.getPosition();
    if (!this.board || !at) return;
    const { node } = this.board;
    const [east, north] = ol.toLonLat(at);
    try {
      const me = await (await fetch('/api/v1/me')).json();
      const body = new URLSearchParams({ form: me.form ?? '', latitude: north.toFixed(6), longitude: east.toFixed(6) });
      const answer = await fetch(`${node.page}/place`, { method: 'POST', body, redirect: 'manual' });
      if (answer.type !== 'opaqueredirect') {
        const page = new DOMParser().parseFromString(await answer.text(), 'text/html');
        this.said.textContent = `Not written: ${page.querySelector('[role=alert]')?.textContent ?? page.body.textContent}`;
        return;
      }
    } catch {
      this.said.textContent = 'No connection: nothing was written. Try again.';
      return;
    }
    node.latitude_deg = north;
    node.longitude_deg = east;
    this.board = null;
    this.put.hidden = this.back.hidden = true;
    this.said.textContent = `${node.name} stands here: it is written in the registry.`;
  }
}

/** @returns {Promise<Shown>} */
async function shown() {
  const answer = await fetch('/map.json');
  if (!answer.ok) throw new Error(String(answer.status));
  return answer.json();
}

async function begin() {
  const first = await shown();
  const target = element('div', 'view');
  target.tabIndex = 0;
  target.setAttribute('role', 'application');
  target.setAttribute('aria-label', 'Map. Arrow keys move it, plus and minus bring it closer.');
  const words = element('p', 'choices');
  const line = element('span', 'scale');
  const said = element('p', 'quiet');
  said.setAttribute('role', 'status');
  section.querySelector('noscript')?.before(target, words, said);
  section.classList.add('drawn');
  const ground = new Ground(first, target);
  for (const [word, does] of /** @type {[string, () => void][]} */ ([
    ['closer', () => ground.closer(1)], ['wider', () => ground.closer(-1)], ['all', () => ground.all()],
  ])) {
    const button = element('button', '', word);
    button.addEventListener('click', does);
    words.append(button);
  }
  const moving = first.may_move ? new Moving(ground, words, said) : null;
  words.append(line);
  const credit = first.basemap?.credit;
  if (credit) words.append(element('span', 'quiet', credit));
  ground.map.on('moveend', () => scale(ground.map, line));
  document.addEventListener('overwinter-newer', () => {
    if (moving?.board) return;
    shown().then((newer) => { ground.draw(newer); ground.nodes(newer.nodes); }).catch(() => {});
  });
}

/** The picture that stands there for those without script: on paper, and where no map can be drawn. */
function picture() {
  const unread = section.querySelector('noscript');
  if (!unread) return;
  const read = new DOMParser().parseFromString(unread.textContent ?? '', 'text/html');
  unread.replaceWith(...read.body.childNodes);
}

if (section) {
  addEventListener('beforeprint', picture);
  begin().catch(picture);
}
