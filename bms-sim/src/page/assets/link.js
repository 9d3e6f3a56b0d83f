// The line to the server: one command, one answer, in order.

/** @import { Answer, Command } from './protocol' */

/** The token of the address, kept for as long as the tab lives. */
const token = (() => {
  const given = new URLSearchParams(location.search).get('token');
  if (given) {
    sessionStorage.setItem('token', given);
    history.replaceState(null, '', location.pathname + location.hash);
  }
  return sessionStorage.getItem('token');
})();

/**
 * An address of the server with what it needs.
 * @param {string} path
 * @param {Record<string, string>} parameters
 */
export function address(path, parameters = {}) {
  const all = new URLSearchParams(parameters);
  if (token) all.set('token', token);
  const query = all.toString();
  return query ? `${path}?${query}` : path;
}

/**
 * Gets a list.
 * @param {string} path
 * @returns {Promise<any>}
 */
export async function list(path) {
  const answer = await fetch(address(path));
  if (!answer.ok) throw new Error(await answer.text());
  return answer.json();
}

/** What is answered when nothing can be asked. @type {Answer} */
const GONE = { kind: 'refused', said: 'the line to the server is cut' };

export class Line {
  /** @param {{up: () => void, down: () => void}} heard */
  constructor(heard) {
    this.heard = heard;
    /** @type {string | null} */
    this.session = null;
    /** @type {((answer: Answer) => void)[]} */
    this.waiting = [];
    this.tries = 0;
    this.socket = this.connect();
  }

  connect() {
    /** @type {Record<string, string>} */
    const parameters = this.session ? { session: this.session } : {};
    const scheme = location.protocol === 'https:' ? 'wss:' : 'ws:';
    const socket = new WebSocket(`${scheme}//${location.host}${address('/api/live', parameters)}`);
    socket.onmessage = (message) => this.message(JSON.parse(message.data));
    socket.onclose = () => this.lost();
    return socket;
  }

  /** @param {Answer | { kind: 'session', name: string }} answer */
  message(answer) {
    if (answer.kind === 'session') {
      this.session = answer.name;
      this.tries = 0;
      this.heard.up();
      return;
    }
    this.waiting.shift()?.(answer);
  }

  lost() {
    this.waiting.splice(0).forEach((answered) => answered(GONE));
    this.heard.down();
    this.tries += 1;
    setTimeout(() => { this.socket = this.connect(); }, Math.min(250 * 2 ** this.tries, 5000));
  }

  /**
   * Asks, and gives the answer once it is there.
   * @param {Command} command
   * @returns {Promise<Answer>}
   */
  ask(command) {
    return new Promise((answered) => {
      if (this.socket.readyState !== WebSocket.OPEN) {
        answered(GONE);
        return;
      }
      this.waiting.push(answered);
      this.socket.send(JSON.stringify(command));
    });
  }
}
