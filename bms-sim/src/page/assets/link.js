// The line to the server: one command, one answer, in order.

/** The token of the address, kept for as long as the tab lives. */
const token = (() => {
  const given = new URLSearchParams(location.search).get('token');
  if (given) {
    sessionStorage.setItem('token', given);
    history.replaceState(null, '', location.pathname + location.hash);
  }
  return sessionStorage.getItem('token');
})();

/** An address of the server with what it needs. */
export function address(path, parameters = {}) {
  const all = new URLSearchParams(parameters);
  if (token) all.set('token', token);
  const query = all.toString();
  return query ? `${path}?${query}` : path;
}

/** Gets a list. */
export async function list(path) {
  const answer = await fetch(address(path));
  if (!answer.ok) throw new Error(await answer.text());
  return answer.json();
}

export class Line {
  /** @param {{up: () => void, down: () => void}} heard */
  constructor(heard) {
    this.heard = heard;
    this.session = null;
    this.waiting = [];
    this.tries = 0;
    this.connect();
  }

  connect() {
    const parameters = this.session ? { session: this.session } : {};
    const scheme = location.protocol === 'https:' ? 'wss:' : 'ws:';
    this.socket = new WebSocket(`${scheme}//${location.host}${address('/api/live', parameters)}`);
    this.socket.onmessage = (message) => this.message(JSON.parse(message.data));
    this.socket.onclose = () => this.lost();
  }

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
    const gone = { kind: 'refused', said: 'the line to the server is cut' };
    this.waiting.splice(0).forEach((answered) => answered(gone));
    this.heard.down();
    this.tries += 1;
    setTimeout(() => this.connect(), Math.min(250 * 2 ** this.tries, 5000));
  }

  /** Asks, and gives the answer once it is there. */
  ask(command) {
    return new Promise((answered) => {
      if (this.socket.readyState !== WebSocket.OPEN) {
        answered({ kind: 'refused', said: 'the line to the server is cut' });
        return;
      }
      this.waiting.push(answered);
      this.socket.send(JSON.stringify(command));
    });
  }
}
