"use strict";(()=>{var al,Pt,wp,mx,js,vp,Ap,Ep,Tp,Mu,vu,Su,gx,ko={},Cp=[],_x=/acit|ex(?:s|g|n|p|$)|rph|grid|ows|mnc|ntw|ine[ch]|zoo|^ord|itera/i,ll=Array.isArray;function ls(i,e){for(var t in e)i[t]=e[t];return i}function wu(i){i&&i.parentNode&&i.parentNode.removeChild(i)}function xx(i,e,t){var n,s,r,o={};for(r in e)r=="key"?n=e[r]:r=="ref"?s=e[r]:o[r]=e[r];if(arguments.length>2&&(o.children=arguments.length>3?al.call(arguments,2):t),typeof i=="function"&&i.defaultProps!=null)for(r in i.defaultProps)o[r]===void 0&&(o[r]=i.defaultProps[r]);return sl(i,o,n,s,null)}function sl(i,e,t,n,s){var r={type:i,props:e,key:t,ref:n,__k:null,__:null,__b:0,__e:null,__c:null,constructor:void 0,__v:s??++wp,__i:-1,__u:0};return s==null&&Pt.vnode!=null&&Pt.vnode(r),r}function wi(i){return i.children}function rl(i,e){this.props=i,this.context=e}function Pr(i,e){if(e==null)return i.__?Pr(i.__,i.__i+1):null;for(var t;e<i.__k.length;e++)if((t=i.__k[e])!=null&&t.__e!=null)return t.__e;return typeof i.type=="function"?Pr(i):null}function Rp(i){var e,t;if((i=i.__)!=null&&i.__c!=null){for(i.__e=i.__c.base=null,e=0;e<i.__k.length;e++)if((t=i.__k[e])!=null&&t.__e!=null){i.__e=i.__c.base=t.__e;break}return Rp(i)}}function Sp(i){(!i.__d&&(i.__d=!0)&&js.push(i)&&!ol.__r++||vp!=Pt.debounceRendering)&&((vp=Pt.debounceRendering)||Ap)(ol)}function ol(){for(var i,e,t,n,s,r,o,a=1;js.length;)js.length>a&&js.sort(Ep),i=js.shift(),a=js.length,i.__d&&(t=void 0,n=void 0,s=(n=(e=i).__v).__e,r=[],o=[],e.__P&&((t=ls({},n)).__v=n.__v+1,Pt.vnode&&Pt.vnode(t),Au(e.__P,t,n,e.__n,e.__P.namespaceURI,32&n.__u?[s]:null,r,s??Pr(n),!!(32&n.__u),o),t.__v=n.__v,t.__.__k[t.__i]=t,Lp(r,t,o),n.__e=n.__=null,t.__e!=s&&Rp(t)));ol.__r=0}function Pp(i,e,t,n,s,r,o,a,c,l,u){var h,d,f,g,y,m,p,v=n&&n.__k||Cp,T=e.length;for(c=yx(t,e,v,c,T),h=0;h<T;h++)(f=t.__k[h])!=null&&(d=f.__i==-1?ko:v[f.__i]||ko,f.__i=h,m=Au(i,f,d,s,r,o,a,c,l,u),g=f.__e,f.ref&&d.ref!=f.ref&&(d.ref&&Eu(d.ref,null,f),u.push(f.ref,f.__c||g,f)),y==null&&g!=null&&(y=g),(p=!!(4&f.__u))||d.__k===f.__k?c=Ip(f,c,i,p):typeof f.type=="function"&&m!==void 0?c=m:g&&(c=g.nextSibling),f.__u&=-7);return t.__e=y,c}function yx(i,e,t,n,s){var r,o,a,c,l,u=t.length,h=u,d=0;for(i.__k=new Array(s),r=0;r<s;r++)(o=e[r])!=null&&typeof o!="boolean"&&typeof o!="function"?(c=r+d,(o=i.__k[r]=typeof o=="string"||typeof o=="number"||typeof o=="bigint"||o.constructor==String?sl(null,o,null,null,null):ll(o)?sl(wi,{children:o},null,null,null):o.constructor==null&&o.__b>0?sl(o.type,o.props,o.key,o.ref?o.ref:null,o.__v):o).__=i,o.__b=i.__b+1,a=null,(l=o.__i=vx(o,t,c,h))!=-1&&(h--,(a=t[l])&&(a.__u|=2)),a==null||a.__v==null?(l==-1&&(s>u?d--:s<u&&d++),typeof o.type!="function"&&(o.__u|=4)):l!=c&&(l==c-1?d--:l==c+1?d++:(l>c?d--:d++,o.__u|=4))):i.__k[r]=null;if(h)for(r=0;r<u;r++)(a=t[r])!=null&&(2&a.__u)==0&&(a.__e==n&&(n=Pr(a)),Np(a,a));return n}function Ip(i,e,t,n){var s,r;if(typeof i.type=="function"){for(s=i.__k,r=0;s&&r<s.length;r++)s[r]&&(s[r].__=i,e=Ip(s[r],e,t,n));return e}i.__e!=e&&(n&&(e&&i.type&&!e.parentNode&&(e=Pr(i)),t.insertBefore(i.__e,e||null)),e=i.__e);do e=e&&e.nextSibling;while(e!=null&&e.nodeType==8);return e}function vx(i,e,t,n){var s,r,o,a=i.key,c=i.type,l=e[t],u=l!=null&&(2&l.__u)==0;if(l===null&&i.key==null||u&&a==l.key&&c==l.type)return t;if(n>(u?1:0)){for(s=t-1,r=t+1;s>=0||r<e.length;)if((l=e[o=s>=0?s--:r++])!=null&&(2&l.__u)==0&&a==l.key&&c==l.type)return o}return-1}function bp(i,e,t){e[0]=="-"?i.setProperty(e,t??""):i[e]=t==null?"":typeof t!="number"||_x.test(e)?t:t+"px"}function il(i,e,t,n,s){var r,o;e:if(e=="style")if(typeof t=="string")i.style.cssText=t;else{if(typeof n=="string"&&(i.style.cssText=n=""),n)for(e in n)t&&e in t||bp(i.style,e,"");if(t)for(e in t)n&&t[e]==n[e]||bp(i.style,e,t[e])}else if(e[0]=="o"&&e[1]=="n")r=e!=(e=e.replace(Tp,"$1")),o=e.toLowerCase(),e=o in i||e=="onFocusOut"||e=="onFocusIn"?o.slice(2):e.slice(2),i.l||(i.l={}),i.l[e+r]=t,t?n?t.u=n.u:(t.u=Mu,i.addEventListener(e,r?Su:vu,r)):i.removeEventListener(e,r?Su:vu,r);else{if(s=="http://www.w3.org/2000/svg")e=e.replace(/xlink(H|:h)/,"h").replace(/sName$/,"s");else if(e!="width"&&e!="height"&&e!="href"&&e!="list"&&e!="form"&&e!="tabIndex"&&e!="download"&&e!="rowSpan"&&e!="colSpan"&&e!="role"&&e!="popover"&&e in i)try{i[e]=t??"";break e}catch{}typeof t=="function"||(t==null||t===!1&&e[4]!="-"?i.removeAttribute(e):i.setAttribute(e,e=="popover"&&t==1?"":t))}}function Mp(i){return function(e){if(this.l){var t=this.l[e.type+i];if(e.t==null)e.t=Mu++;else if(e.t<t.u)return;return t(Pt.event?Pt.event(e):e)}}}function Au(i,e,t,n,s,r,o,a,c,l){var u,h,d,f,g,y,m,p,v,T,S,C,E,x,A,F,L,I=e.type;if(e.constructor!=null)return null;128&t.__u&&(c=!!(32&t.__u),r=[a=e.__e=t.__e]),(u=Pt.__b)&&u(e);e:if(typeof I=="function")try{if(p=e.props,v="prototype"in I&&I.prototype.render,T=(u=I.contextType)&&n[u.__c],S=u?T?T.props.value:u.__:n,t.__c?m=(h=e.__c=t.__c).__=h.__E:(v?e.__c=h=new I(p,S):(e.__c=h=new rl(p,S),h.constructor=I,h.render=bx),T&&T.sub(h),h.props=p,h.state||(h.state={}),h.context=S,h.__n=n,d=h.__d=!0,h.__h=[],h._sb=[]),v&&h.__s==null&&(h.__s=h.state),v&&I.getDerivedStateFromProps!=null&&(h.__s==h.state&&(h.__s=ls({},h.__s)),ls(h.__s,I.getDerivedStateFromProps(p,h.__s))),f=h.props,g=h.state,h.__v=e,d)v&&I.getDerivedStateFromProps==null&&h.componentWillMount!=null&&h.componentWillMount(),v&&h.componentDidMount!=null&&h.__h.push(h.componentDidMount);else{if(v&&I.getDerivedStateFromProps==null&&p!==f&&h.componentWillReceiveProps!=null&&h.componentWillReceiveProps(p,S),!h.__e&&h.shouldComponentUpdate!=null&&h.shouldComponentUpdate(p,h.__s,S)===!1||e.__v==t.__v){for(e.__v!=t.__v&&(h.props=p,h.state=h.__s,h.__d=!1),e.__e=t.__e,e.__k=t.__k,e.__k.some(function(k){k&&(k.__=e)}),C=0;C<h._sb.length;C++)h.__h.push(h._sb[C]);h._sb=[],h.__h.length&&o.push(h);break e}h.componentWillUpdate!=null&&h.componentWillUpdate(p,h.__s,S),v&&h.componentDidUpdate!=null&&h.__h.push(function(){h.componentDidUpdate(f,g,y)})}if(h.context=S,h.props=p,h.__P=i,h.__e=!1,E=Pt.__r,x=0,v){for(h.state=h.__s,h.__d=!1,E&&E(e),u=h.render(h.props,h.state,h.context),A=0;A<h._sb.length;A++)h.__h.push(h._sb[A]);h._sb=[]}else do h.__d=!1,E&&E(e),u=h.render(h.props,h.state,h.context),h.state=h.__s;while(h.__d&&++x<25);h.state=h.__s,h.getChildContext!=null&&(n=ls(ls({},n),h.getChildContext())),v&&!d&&h.getSnapshotBeforeUpdate!=null&&(y=h.getSnapshotBeforeUpdate(f,g)),F=u,u!=null&&u.type===wi&&u.key==null&&(F=Dp(u.props.children)),a=Pp(i,ll(F)?F:[F],e,t,n,s,r,o,a,c,l),h.base=e.__e,e.__u&=-161,h.__h.length&&o.push(h),m&&(h.__E=h.__=null)}catch(k){if(e.__v=null,c||r!=null)if(k.then){for(e.__u|=c?160:128;a&&a.nodeType==8&&a.nextSibling;)a=a.nextSibling;r[r.indexOf(a)]=null,e.__e=a}else{for(L=r.length;L--;)wu(r[L]);bu(e)}else e.__e=t.__e,e.__k=t.__k,k.then||bu(e);Pt.__e(k,e,t)}else r==null&&e.__v==t.__v?(e.__k=t.__k,e.__e=t.__e):a=e.__e=Sx(t.__e,e,t,n,s,r,o,c,l);return(u=Pt.diffed)&&u(e),128&e.__u?void 0:a}function bu(i){i&&i.__c&&(i.__c.__e=!0),i&&i.__k&&i.__k.forEach(bu)}function Lp(i,e,t){for(var n=0;n<t.length;n++)Eu(t[n],t[++n],t[++n]);Pt.__c&&Pt.__c(e,i),i.some(function(s){try{i=s.__h,s.__h=[],i.some(function(r){r.call(s)})}catch(r){Pt.__e(r,s.__v)}})}function Dp(i){return typeof i!="object"||i==null||i.__b&&i.__b>0?i:ll(i)?i.map(Dp):ls({},i)}function Sx(i,e,t,n,s,r,o,a,c){var l,u,h,d,f,g,y,m=t.props,p=e.props,v=e.type;if(v=="svg"?s="http://www.w3.org/2000/svg":v=="math"?s="http://www.w3.org/1998/Math/MathML":s||(s="http://www.w3.org/1999/xhtml"),r!=null){for(l=0;l<r.length;l++)if((f=r[l])&&"setAttribute"in f==!!v&&(v?f.localName==v:f.nodeType==3)){i=f,r[l]=null;break}}if(i==null){if(v==null)return document.createTextNode(p);i=document.createElementNS(s,v,p.is&&p),a&&(Pt.__m&&Pt.__m(e,r),a=!1),r=null}if(v==null)m===p||a&&i.data==p||(i.data=p);else{if(r=r&&al.call(i.childNodes),m=t.props||ko,!a&&r!=null)for(m={},l=0;l<i.attributes.length;l++)m[(f=i.attributes[l]).name]=f.value;for(l in m)if(f=m[l],l!="children"){if(l=="dangerouslySetInnerHTML")h=f;else if(!(l in p)){if(l=="value"&&"defaultValue"in p||l=="checked"&&"defaultChecked"in p)continue;il(i,l,null,f,s)}}for(l in p)f=p[l],l=="children"?d=f:l=="dangerouslySetInnerHTML"?u=f:l=="value"?g=f:l=="checked"?y=f:a&&typeof f!="function"||m[l]===f||il(i,l,f,m[l],s);if(u)a||h&&(u.__html==h.__html||u.__html==i.innerHTML)||(i.innerHTML=u.__html),e.__k=[];else if(h&&(i.innerHTML=""),Pp(e.type=="template"?i.content:i,ll(d)?d:[d],e,t,n,v=="foreignObject"?"http://www.w3.org/1999/xhtml":s,r,o,r?r[0]:t.__k&&Pr(t,0),a,c),r!=null)for(l=r.length;l--;)wu(r[l]);a||(l="value",v=="progress"&&g==null?i.removeAttribute("value"):g!=null&&(g!==i[l]||v=="progress"&&!g||v=="option"&&g!=m[l])&&il(i,l,g,m[l],s),l="checked",y!=null&&y!=i[l]&&il(i,l,y,m[l],s))}return i}function Eu(i,e,t){try{if(typeof i=="function"){var n=typeof i.__u=="function";n&&i.__u(),n&&e==null||(i.__u=i(e))}else i.current=e}catch(s){Pt.__e(s,t)}}function Np(i,e,t){var n,s;if(Pt.unmount&&Pt.unmount(i),(n=i.ref)&&(n.current&&n.current!=i.__e||Eu(n,null,e)),(n=i.__c)!=null){if(n.componentWillUnmount)try{n.componentWillUnmount()}catch(r){Pt.__e(r,e)}n.base=n.__P=null}if(n=i.__k)for(s=0;s<n.length;s++)n[s]&&Np(n[s],e,t||typeof i.type!="function");t||wu(i.__e),i.__c=i.__=i.__e=void 0}function bx(i,e,t){return this.constructor(i,t)}function Up(i,e,t){var n,s,r,o;e==document&&(e=document.documentElement),Pt.__&&Pt.__(i,e),s=(n=typeof t=="function")?null:t&&t.__k||e.__k,r=[],o=[],Au(e,i=(!n&&t||e).__k=xx(wi,null,[i]),s||ko,ko,e.namespaceURI,!n&&t?[t]:s?null:e.firstChild?al.call(e.childNodes):null,r,!n&&t?t:s?s.__e:e.firstChild,n,o),Lp(r,i,o)}al=Cp.slice,Pt={__e:function(i,e,t,n){for(var s,r,o;e=e.__;)if((s=e.__c)&&!s.__)try{if((r=s.constructor)&&r.getDerivedStateFromError!=null&&(s.setState(r.getDerivedStateFromError(i)),o=s.__d),s.componentDidCatch!=null&&(s.componentDidCatch(i,n||{}),o=s.__d),o)return s.__E=s}catch(a){i=a}throw i}},wp=0,mx=function(i){return i!=null&&i.constructor==null},rl.prototype.setState=function(i,e){var t;t=this.__s!=null&&this.__s!=this.state?this.__s:this.__s=ls({},this.state),typeof i=="function"&&(i=i(ls({},t),this.props)),i&&ls(t,i),i!=null&&this.__v&&(e&&this._sb.push(e),Sp(this))},rl.prototype.forceUpdate=function(i){this.__v&&(this.__e=!0,i&&this.__h.push(i),Sp(this))},rl.prototype.render=wi,js=[],Ap=typeof Promise=="function"?Promise.prototype.then.bind(Promise.resolve()):setTimeout,Ep=function(i,e){return i.__v.__b-e.__v.__b},ol.__r=0,Tp=/(PointerCapture)$|Capture$/i,Mu=0,vu=Mp(!1),Su=Mp(!0),gx=0;var Ir,jt,Tu,Fp,hl=0,Wp=[],sn=Pt,Op=sn.__b,Bp=sn.__r,kp=sn.diffed,zp=sn.__c,Vp=sn.unmount,Gp=sn.__;function ul(i,e){sn.__h&&sn.__h(jt,i,hl||e),hl=0;var t=jt.__H||(jt.__H={__:[],__h:[]});return i>=t.__.length&&t.__.push({}),t.__[i]}function Xp(i){return hl=1,Ru(qp,i)}function Ru(i,e,t){var n=ul(Ir++,2);if(n.t=i,!n.__c&&(n.__=[t?t(e):qp(void 0,e),function(a){var c=n.__N?n.__N[0]:n.__[0],l=n.t(c,a);c!==l&&(n.__N=[l,n.__[1]],n.__c.setState({}))}],n.__c=jt,!jt.__f)){var s=function(a,c,l){if(!n.__c.__H)return!0;var u=n.__c.__H.__.filter(function(d){return!!d.__c});if(u.every(function(d){return!d.__N}))return!r||r.call(this,a,c,l);var h=n.__c.props!==a;return u.forEach(function(d){if(d.__N){var f=d.__[0];d.__=d.__N,d.__N=void 0,f!==d.__[0]&&(h=!0)}}),r&&r.call(this,a,c,l)||h};jt.__f=!0;var r=jt.shouldComponentUpdate,o=jt.componentWillUpdate;jt.componentWillUpdate=function(a,c,l){if(this.__e){var u=r;r=void 0,s(a,c,l),r=u}o&&o.call(this,a,c,l)},jt.shouldComponentUpdate=s}return n.__N||n.__}function Pu(i,e){var t=ul(Ir++,3);!sn.__s&&Iu(t.__H,e)&&(t.__=i,t.u=e,jt.__H.__h.push(t))}function zo(i,e){var t=ul(Ir++,4);!sn.__s&&Iu(t.__H,e)&&(t.__=i,t.u=e,jt.__h.push(t))}function Lr(i){return hl=5,Mx(function(){return{current:i}},[])}function Mx(i,e){var t=ul(Ir++,7);return Iu(t.__H,e)&&(t.__=i(),t.__H=e,t.__h=i),t.__}function wx(){for(var i;i=Wp.shift();)if(i.__P&&i.__H)try{i.__H.__h.forEach(cl),i.__H.__h.forEach(Cu),i.__H.__h=[]}catch(e){i.__H.__h=[],sn.__e(e,i.__v)}}sn.__b=function(i){jt=null,Op&&Op(i)},sn.__=function(i,e){i&&e.__k&&e.__k.__m&&(i.__m=e.__k.__m),Gp&&Gp(i,e)},sn.__r=function(i){Bp&&Bp(i),Ir=0;var e=(jt=i.__c).__H;e&&(Tu===jt?(e.__h=[],jt.__h=[],e.__.forEach(function(t){t.__N&&(t.__=t.__N),t.u=t.__N=void 0})):(e.__h.forEach(cl),e.__h.forEach(Cu),e.__h=[],Ir=0)),Tu=jt},sn.diffed=function(i){kp&&kp(i);var e=i.__c;e&&e.__H&&(e.__H.__h.length&&(Wp.push(e)!==1&&Fp===sn.requestAnimationFrame||((Fp=sn.requestAnimationFrame)||Ax)(wx)),e.__H.__.forEach(function(t){t.u&&(t.__H=t.u),t.u=void 0})),Tu=jt=null},sn.__c=function(i,e){e.some(function(t){try{t.__h.forEach(cl),t.__h=t.__h.filter(function(n){return!n.__||Cu(n)})}catch(n){e.some(function(s){s.__h&&(s.__h=[])}),e=[],sn.__e(n,t.__v)}}),zp&&zp(i,e)},sn.unmount=function(i){Vp&&Vp(i);var e,t=i.__c;t&&t.__H&&(t.__H.__.forEach(function(n){try{cl(n)}catch(s){e=s}}),t.__H=void 0,e&&sn.__e(e,t.__v))};var Hp=typeof requestAnimationFrame=="function";function Ax(i){var e,t=function(){clearTimeout(n),Hp&&cancelAnimationFrame(e),setTimeout(i)},n=setTimeout(t,35);Hp&&(e=requestAnimationFrame(t))}function cl(i){var e=jt,t=i.__c;typeof t=="function"&&(i.__c=void 0,t()),jt=e}function Cu(i){var e=jt;i.__c=i.__(),jt=e}function Iu(i,e){return!i||i.length!==e.length||e.some(function(t,n){return t!==i[n]})}function qp(i,e){return typeof e=="function"?e(i):e}var Ex=0;function X(i,e,t,n,s,r){e||(e={});var o,a,c=e;if("ref"in c)for(a in c={},e)a=="ref"?o=e[a]:c[a]=e[a];var l={type:i,props:c,key:t,ref:o,__k:null,__:null,__b:0,__e:null,__c:null,constructor:void 0,__v:--Ex,__i:-1,__u:0,__source:s,__self:r};if(typeof i=="function"&&(o=i.defaultProps))for(a in o)c[a]===void 0&&(c[a]=o[a]);return Pt.vnode&&Pt.vnode(l),l}var Yp={cross:"M5 5L19 19M19 5L5 19",unequal:"M4 9H20M4 15H20M16 4L8 20",triangle:"M12 4L21 20H3ZM12 10V15M12 17.4V18",bar:"M12 2.5A9.5 9.5 0 1 0 12 21.5A9.5 9.5 0 1 0 12 2.5M6.5 12H17.5",tick:"M4 13L10 19L20 5",ring:"M12 4A8 8 0 1 0 12 20A8 8 0 1 0 12 4"};function Ls({look:i,size:e}){return X("svg",{class:"sign",width:e,height:e,viewBox:"0 0 24 24","aria-hidden":"true",children:X("path",{d:Yp[i.sign]??Yp.ring,fill:"none",stroke:i.colour,"stroke-width":"3.2","stroke-linecap":"round","stroke-linejoin":"round"})})}var Vo=!1;function Lu(i){Vo=i}function cs(){return Vo}function ii(i,e){let t=i.toFixed(e);return Number(t)===0?t.replace("-",""):t}function Dr(i,e=3){return Vo?`${ii(i/25.4,e+1)} in`:`${ii(i,e)} mm`}function Nr(i){if(Vo)return`${ii(i/25.4*1e3,2)} thou`;let e=i*1e3;return`${ii(e,Math.abs(e)<99.95?1:0)} \xB5m`}function Ur(i){return`${ii(i,3)} s`}function Pn(i){return Vo?i.replace(/([+-]?\d+(?:\.\d+)?)\s?mm(\/s|\/min)?(?![\w²])/g,(e,t,n)=>{let s=(t.split(".")[1]??"").length+(n?2:1),r=Number(t)/25.4;return`${t.startsWith("+")&&r>=0?"+":""}${ii(r,s)} in${n??""}`}).replace(/([+-]?\d+(?:\.\d+)?)\s?[µu]m\b/g,(e,t)=>`${ii(Number(t)/25.4,2)} thou`):i}function Zp({desk:i}){let{player:e}=i;if(e.asked)return X(Px,{desk:i,asked:e.asked});let t=i.reading;return X("section",{class:"card","aria-label":"What happened",children:[X(Tx,{desk:i}),X("div",{class:"card-text",children:[t==="story"&&X($p,{desk:i}),t==="result"&&X(Rx,{desk:i}),typeof t=="object"&&(i.hidden(t)?X($p,{desk:i}):X(Cx,{desk:i,finding:t}))]})]})}function Tx({desk:i}){let e=i.reading,t=i.player.page.look.verdicts;return X("nav",{class:"chips","aria-label":"Findings",children:[X("button",{"aria-pressed":e==="story",onClick:()=>i.pick("story"),children:"Story"}),i.told.map(n=>{let s=i.hidden(n);return X("button",{disabled:s,"aria-pressed":e===n,onClick:()=>i.jump(n),title:s?"answer the question first":n.title,children:[s?"?":X(Ls,{look:t[n.severity]??t[""],size:16}),X("span",{class:"visually-hidden",children:s?"hidden finding":n.title})," ",n.number]},n.number)}),X("button",{"aria-pressed":e==="result",disabled:i.player.hiddenFrom<1/0,onClick:()=>i.pick("result"),children:"Result"})]})}function $p({desk:i}){return X(wi,{children:i.player.page.entries.map((e,t)=>X("div",{children:[i.player.page.entries.length>1&&X("h2",{children:["AB"[t],": ",e.title]}),e.story&&X("p",{children:Pn(e.story)}),e.watch_for&&X("p",{children:[X("b",{class:"head",children:"Watch for"}),Pn(e.watch_for)]}),!e.story&&!e.watch_for&&X("p",{children:"Press Play. Time slows by itself at each contact."})]},t))})}function Cx({desk:i,finding:e}){let t=i.player.page.look.verdicts[e.severity]??i.player.page.look.verdicts[""],n=i.player.replays.length>1;return X(wi,{children:[X("h2",{style:{color:t.colour},children:[X(Ls,{look:t,size:24})," ",n?`${"AB"[e.entry]}: `:"",e.title,X("small",{children:[" ",t.word.toLowerCase(),", at ",Ur(e.t)]})]}),e.sentences.map(([s,r])=>X("p",{children:[X("b",{class:"head",children:s}),Pn(r)]},s)),e.figures.length>0&&X("p",{class:"figures",children:e.figures.map(([s,r])=>X("span",{children:[s," ",X("b",{children:Pn(r)})]},s))})]})}function Rx({desk:i}){return X(wi,{children:i.player.page.entries.map((e,t)=>{let n=i.player.page.look.verdicts[e.verdict]??i.player.page.look.verdicts[""];return X("div",{children:[X("h2",{style:{color:n.colour},children:[X(Ls,{look:n,size:24})," ",i.player.page.entries.length>1?`${"AB"[t]}: `:"",n.word]}),X("p",{children:[n.meaning[0].toUpperCase()+n.meaning.slice(1),"."]}),e.numbers.length>0&&X("table",{children:[X("thead",{children:X("tr",{children:[X("th",{children:"Number"}),X("th",{children:"stored"}),X("th",{children:"true"}),X("th",{children:"off by"})]})}),X("tbody",{children:e.numbers.map(s=>X("tr",{children:[X("th",{children:s.name}),X("td",{children:Pn(s.belief)}),X("td",{children:Pn(s.truth)}),X("td",{children:[Pn(s.error)," ",s.off?X("b",{children:"\u2717 too much"}):"\u2713"]})]},s.name))})]}),e.alarms.map(s=>X("p",{children:[X("b",{class:"head",children:"Alarm"}),Pn(s)]},s))]},t)})})}function Px({desk:i,asked:e}){let t=e.chosen>=0,n=e.chosen+1===e.answer;return X("section",{class:"card question","aria-label":"Question",children:[X("h2",{children:[X("span",{class:"query","aria-hidden":"true",children:"?"})," What happens next?"]}),X("div",{class:"card-text",children:[X("p",{class:"ask",children:Pn(e.ask)}),X("ol",{class:"choices",children:e.choices.map((s,r)=>{let o=r+1===e.answer,a=t?o?"\u2713 ":r===e.chosen?"\u2717 ":"":"";return X("li",{children:X("button",{disabled:t,class:t&&o?"is-right":t&&r===e.chosen?"is-wrong":"",onClick:()=>i.player.answer(r),children:[X("kbd",{children:r+1})," ",a,Pn(s)]})},s)})}),t&&X(wi,{children:[X("p",{class:"because",children:[X("b",{children:n?"Right.":"Not so."})," ",Pn(e.because)]}),X("button",{class:"go-on",autofocus:!0,onClick:()=>i.player.goOn(),children:"Watch it happen \u25B6"})]}),!t&&X("button",{class:"skip",onClick:()=>i.player.goOn(),children:"Don't ask, play on"})]})]})}var Go=[["choose","Chosen for you","0"],["whole","Whole machine","1"],["nose","At the nose","2"],["pad","Along the pad","3"],["follow","Follow the tip","4"]],Ix=3,dl=class{constructor(e){this.player=e;this.views=[];this.plots=null;this.picked=null;this.help=!1;this.beliefs=!0;this.labels=!0;this.cut=null;this.camera="choose";this.inch=e.page.display==="inch",Lu(this.inch),this.told=e.page.entries.flatMap((t,n)=>t.findings.map(s=>({...s,entry:n,at:s.t-e.shift(n),number:0}))).sort((t,n)=>t.at-n.at),this.told.forEach((t,n)=>t.number=n+1)}get reading(){if(this.picked)return this.picked;let{player:e}=this,t=this.told.filter(r=>r.at<=e.t+1e-9&&!this.hidden(r));if(e.t>=e.end-1e-9&&!e.playing&&e.start<e.end)return"result";if(t.length===0)return"story";let n=t[t.length-1].at,s=["harm","wrong","risky","stopped","right"];return t.filter(r=>r.at>n-.02).reduce((r,o)=>s.indexOf(o.severity)<s.indexOf(r.severity)?o:r)}hidden(e){let{player:t}=this;return t.questions.some(n=>n.chosen<0&&n.hides.includes(e.code)&&n.t>=e.at&&t.t<=n.t)?!0:e.at>t.hiddenFrom&&e.at>t.t}jump(e){this.hidden(e)||(this.player.playing=!1,this.player.seek(e.seen_t-this.player.shift(e.entry)),this.picked=e,this.player.changed())}open(e){let t=new URLSearchParams(e.replace(/^#/,"")),n=this.told.find(o=>String(o.number)===t.get("finding")),s=Number.parseFloat(t.get("at")??""),{player:r}=this;n&&!this.hidden(n)?(this.jump(n),r.seek(r.t-Ix)):!n&&Number.isFinite(s)&&(this.picked=null,r.playing=!1,r.seek(s))}jumpBy(e){let t=this.player.t,n=this.told.filter(o=>!this.hidden(o)),s=this.picked&&typeof this.picked=="object"?n.indexOf(this.picked):-1,r=s>=0?n[s+e]:e>0?n.find(o=>o.at>t+1e-9):[...n].reverse().find(o=>o.at<t-1e-9);r&&this.jump(r)}pick(e){this.picked=e,this.player.changed()}setCamera(e){this.camera=e;for(let t of this.views)t.setCamera(e);this.player.changed()}grab(e,t,n){for(let s of this.views)s.grab(e,t,n)}toggle(e){e==="cut"?this.cut=this.cut?null:!0:this[e]=!this[e],Lu(this.inch);for(let t of this.views)t.belief.shown=this.beliefs,t.labels.shown=this.labels,t.cutOpen=this.cut,t.touch();this.player.changed()}};var Jp=[["Space","play or pause"],["\u2190 \u2192","previous or next event"],["Shift + \u2190 \u2192","a little back or on"],["Home, End","start, end"],["[ ]","slower, faster"],["S","slow down at contact, on or off"],["F, Shift + F","next or previous finding"],["1 to 9","answer a question"],["Enter","go on after an answer"],["0 to 4","camera"],[", .","turn the view"],["Page up, down","raise or lower the view"],["+ -","nearer, farther"],["X","cut open to see inside"],["B","what the controller takes to be so"],["L","labels"],["U","mm or inch"],["H","this list"]];function Kp(i){window.addEventListener("keydown",e=>{if(e.ctrlKey||e.altKey||e.metaKey)return;let t=e.target;["BUTTON","SELECT","SUMMARY"].includes(t.tagName)&&(e.key===" "||e.key==="Enter")||t.tagName==="SELECT"&&e.key.startsWith("Arrow")||Lx(i,e)&&e.preventDefault()})}function Lx(i,e){let{player:t}=i,n=e.key,s=Math.min(Math.max(t.rateAt(t.t)*.25,1e-5),.25),r=t.asked;if(/^[0-9]$/.test(n)){let o=Number(n);return r&&r.chosen<0&&o>=1&&o<=r.choices.length?t.answer(o-1):o<Go.length&&i.setCamera(Go[o][0]),!0}if(e.repeat&&!n.startsWith("Arrow")&&![",",".","+","-","PageUp","PageDown"].includes(n))return!1;switch((n.startsWith("Arrow")||n==="Home"||n==="End"||n===" ")&&(i.picked=null),n.length===1?n.toLowerCase():n){case" ":return r&&r.chosen>=0?t.goOn():t.play(),!0;case"Enter":return r&&r.chosen>=0&&t.goOn(),!0;case"ArrowRight":case"ArrowLeft":{let o=n==="ArrowRight"?1:-1;return e.shiftKey?t.seek(t.t+o*s):t.step(o),!0}case"Home":return t.seek(t.start),!0;case"End":return t.seek(t.end),!0;case"[":return t.faster(-1),!0;case"]":return t.faster(1),!0;case"s":return t.setSlows(!t.slows),!0;case"f":return i.jumpBy(e.shiftKey?-1:1),!0;case",":return i.grab(-6,0,1),!0;case".":return i.grab(6,0,1),!0;case"PageUp":return i.grab(0,5,1),!0;case"PageDown":return i.grab(0,-5,1),!0;case"+":case"=":return i.grab(0,0,.85),!0;case"-":return i.grab(0,0,1/.85),!0;case"x":return i.toggle("cut"),!0;case"b":return i.toggle("beliefs"),!0;case"l":return i.toggle("labels"),!0;case"u":return i.toggle("inch"),!0;case"h":case"?":return i.toggle("help"),!0;case"Escape":return i.help&&i.toggle("help"),!0;default:return!1}}var jp={contact:i=>`something touches the pad of ${i}`,close:()=>"the contact in the setter acts",open:()=>"the contact in the setter goes back",leave:()=>"the pad is free again",graze:()=>"something is grazed",blocked:()=>"a body blocks the axis",stall:()=>"the drive loses steps","drive-fault":()=>"the drive gives up","e-stop":()=>"emergency stop",latch:()=>"the controller notes the position",hold:i=>i?"feed hold":"feed hold ends",plug:i=>i?.[1]?`plug of ${i[0]} goes into socket ${i[1]}`:`plug of ${i?.[0]} is pulled`,alarm:i=>`alarm: ${i?.[1]??""}`,power:i=>i?"power on":"power off",reset:()=>"the alarm is cleared",hand:i=>i?`a hand is in: ${i}`:"the hand is out",feel:i=>`gauge block felt: ${i?.[1]}`,rule:()=>"checked with a rule","jog-back":()=>"jogged back to the surface to read it again","input-seen":i=>`a person sees input ${i?.[0]} go: ${i?.[1]}`,meanwhile:i=>`meanwhile: ${i}`,skipped:i=>`skipped: step ${i?.[0]+1}`};function Qp(i){let e=[];for(let[t,n,s]of i.data.events)if(n!=="finding")if(n==="step"){let r=s?.[2]?`: ${s[2]}`:"";e.push({t,kind:n,text:`step ${s[0]+1}, ${String(s[1]).replace(/[-_]/g," ")}${r}`})}else jp[n]&&e.push({t,kind:n,text:jp[n](typeof s=="string"?s.replace(/[-_]/g," "):s)});for(let[t,n,s]of i.data.edges)if(n.endsWith(".seen")){let r=n.slice(0,-5);e.push({t,kind:"seen",text:`the controller sees ${r} go ${s?"on":"off"}`})}for(let t of i.entry.findings)e.push({t:t.t,kind:"finding",text:t.title});return e.sort((t,n)=>t.t-n.t),e}function em(i){let e=i.data.events.filter(t=>t[1]==="contact");return e.map(([t,,n],s)=>{let r=p=>i.data.events.find(v=>v[0]>t&&v[1]===p&&v[2]===n)?.[0],o=e.slice(s+1).find(p=>p[2]===n)?.[0]??i.duration,a=Math.min(r("leave")??i.duration,o),c=i.lineAt(t),l=c?c.t[1]:a,u=i.data.events.find(p=>p[0]>=t&&p[1]==="blocked")?.[0],h=Math.min(a,u??1/0,Math.max(Dx(i,t,l),t)),d=Nx(i,n,t,Math.min(Math.max(h,l),a)),f=u!==void 0&&u<=h+1e-9;d.push({name:f?"blocked":"stands still",t:h,depth:i.padDepthAt(n,h)});let g=d.some(p=>p.name==="seen at scan");f&&!g&&c?.kind==="touch"&&d.push({name:"seen at scan",t:h,depth:0,never:!0});let y=d.find(p=>p.name==="contact acts"),m=i.entry.facts.setters[n];return{setter:n,contact:t,rest:h,end:a,marks:d,preTravel:y?y.depth:m?.pre_travel_mm??null,limit:i.padLimitOf(n)}})}function Dx(i,e,t){let n=i.lineAt(e);if(!n||n.pieces.length===0)return t;let s=n.pieces[n.pieces.length-1];return Math.min(s[1]+n.delay_s,t)}function Nx(i,e,t,n){let s=(l,u)=>({name:l,t:u,depth:i.padDepthAt(e,u)}),r=[s("pad touched",t)],o=i.data.events.find(l=>l[0]>=t&&l[0]<=n&&l[1]==="close");o&&r.push(s("contact acts",o[0]));let a=Ux(i,t,n);if(a){let l=i.beliefsAt(t)[`setter ${e} input`],u=l!==void 0&&`input ${l}`!==a?`, ${a}`:"",h=m=>i.edgesOf(`${a}.${m}`).filter(([p])=>p>=t&&p<=n+1e-9),d=h("raw"),f=d.filter(([,m])=>m===1);if(d.length>2){let m=d[d.length-1];r.push(s(`bounce over (${Math.floor((d.length-1)/2)} more)`,m[0]))}else!o&&f.length&&r.push(s("first edge",f[0][0]));let g=h("filtered").filter(([,m])=>m===1);g.length&&r.push(s(`filter passed${u}`,g[0][0]));let y=h("seen").filter(([,m])=>m===1);y.length&&r.push(s(`seen at scan${u}`,y[0][0]))}let c=i.data.events.find(l=>l[0]>=t&&l[0]<=n&&l[1]==="latch");return c&&r.push(s("latched position",Array.isArray(c[2])?c[2][0]:c[0])),r.sort((l,u)=>l.t-u.t)}function Ux(i,e,t){let n=i.data.edges.find(([s,r])=>s>=e&&s<=t&&r.endsWith(".raw"));return n?n[1].slice(0,-4):null}function tm(i,e){let t=i.lineAt(e),n=t!==null&&e<=t.t[1]+1e-9,[s,r,o,a]=["","","",""];for(let[c,l,u]of i.data.events){if(c>e)break;l==="step"?(r=u[2]??"",o="",s=`Step ${u[0]+1}: ${String(u[1]).replace(/[-_]/g," ")}`):l==="meanwhile"&&typeof u=="string"?a=u.replace(/[-_]/g," "):l==="program-line"&&Array.isArray(u)&&(o=u[0]==="typed"?`typed: ${u[2]}`:`${u[0]}, line ${u[1]}: ${u[2]}`)}if(n&&t){let c=t.source[3];!s&&c&&(s=c==="wait"&&a||c.replace(/[-_]/g," "));let l=i.speedAt(e)*60,u=l>.05?`${ii(l,l<10?1:0)} mm/min`:"at rest",h=` ${s}`.endsWith(` ${t.kind}`)?u:`${t.kind}, ${u}`;return{head:`${s?s.charAt(0).toUpperCase()+s.slice(1):"Running"} \xB7 ${h}`,code:o,note:r}}return{head:`${s||"Ready"} \xB7 at rest`,code:o,note:r}}var Fx="uplot",Ox="u-hz",Bx="u-vt",kx="u-title",zx="u-wrap",Vx="u-under",Gx="u-over",Hx="u-axis",tr="u-off",Wx="u-select",Xx="u-cursor-x",qx="u-cursor-y",Yx="u-cursor-pt",$x="u-legend",Zx="u-live",Jx="u-inline",Kx="u-series",jx="u-marker",nm="u-label",Qx="u-value",Wo="width",Xo="height";var im="bottom",Fr="left",Du="right",Ju="#000",sm=Ju+"0",Nu="mousemove",rm="mousedown",Uu="mouseup",om="mouseenter",am="mouseleave",lm="dblclick",ey="resize",ty="scroll",cm="change",_l="dppxchange",Ku="--",Hr=typeof window<"u",zu=Hr?document:null,Br=Hr?window:null,ny=Hr?navigator:null,Mt,fl;function Vu(){let i=devicePixelRatio;Mt!=i&&(Mt=i,fl&&Hu(cm,fl,Vu),fl=matchMedia(`(min-resolution: ${Mt-.001}dppx) and (max-resolution: ${Mt+.001}dppx)`),nr(cm,fl,Vu),Br.dispatchEvent(new CustomEvent(_l)))}function si(i,e){if(e!=null){let t=i.classList;!t.contains(e)&&t.add(e)}}function Gu(i,e){let t=i.classList;t.contains(e)&&t.remove(e)}function Gt(i,e,t){i.style[e]=t+"px"}function Ai(i,e,t,n){let s=zu.createElement(i);return e!=null&&si(s,e),t?.insertBefore(s,n),s}function gi(i,e){return Ai("div",i,e)}var hm=new WeakMap;function Xi(i,e,t,n,s){let r="translate("+e+"px,"+t+"px)",o=hm.get(i);r!=o&&(i.style.transform=r,hm.set(i,r),e<0||t<0||e>n||t>s?si(i,tr):Gu(i,tr))}var um=new WeakMap;function dm(i,e,t){let n=e+t,s=um.get(i);n!=s&&(um.set(i,n),i.style.background=e,i.style.borderColor=t)}var fm=new WeakMap;function pm(i,e,t,n){let s=e+""+t,r=fm.get(i);s!=r&&(fm.set(i,s),i.style.height=t+"px",i.style.width=e+"px",i.style.marginLeft=n?-e/2+"px":0,i.style.marginTop=n?-t/2+"px":0)}var ju={passive:!0},iy={...ju,capture:!0};function nr(i,e,t,n){e.addEventListener(i,t,n?iy:ju)}function Hu(i,e,t,n){e.removeEventListener(i,t,ju)}Hr&&Vu();function Ei(i,e,t,n){let s;t=t||0,n=n||e.length-1;let r=n<=2147483647;for(;n-t>1;)s=r?t+n>>1:ri((t+n)/2),e[s]<i?t=s:n=s;return i-e[t]<=e[n]-i?t:n}function Gm(i){return(t,n,s)=>{let r=-1,o=-1;for(let a=n;a<=s;a++)if(i(t[a])){r=a;break}for(let a=s;a>=n;a--)if(i(t[a])){o=a;break}return[r,o]}}var Hm=i=>i!=null,Wm=i=>i!=null&&i>0,vl=Gm(Hm),sy=Gm(Wm);function ry(i,e,t,n=0,s=!1){let r=s?sy:vl,o=s?Wm:Hm;[e,t]=r(i,e,t);let a=i[e],c=i[e];if(e>-1)if(n==1)a=i[e],c=i[t];else if(n==-1)a=i[t],c=i[e];else for(let l=e;l<=t;l++){let u=i[l];o(u)&&(u<a?a=u:u>c&&(c=u))}return[a??Ut,c??-Ut]}function Sl(i,e,t,n){let s=_m(i),r=_m(e);i==e&&(s==-1?(i*=t,e/=t):(i/=t,e*=t));let o=t==10?hs:Xm,a=s==1?ri:_i,c=r==1?_i:ri,l=a(o(gn(i))),u=c(o(gn(e))),h=kr(t,l),d=kr(t,u);return t==10&&(l<0&&(h=Ft(h,-l)),u<0&&(d=Ft(d,-u))),n||t==2?(i=h*s,e=d*r):(i=Zm(i,h),e=bl(e,d)),[i,e]}function Qu(i,e,t,n){let s=Sl(i,e,t,n);return i==0&&(s[0]=0),e==0&&(s[1]=0),s}var ed=.1,mm={mode:3,pad:ed},Yo={pad:0,soft:null,mode:0},oy={min:Yo,max:Yo};function xl(i,e,t,n){return Ml(t)?gm(i,e,t):(Yo.pad=t,Yo.soft=n?0:null,Yo.mode=n?3:0,gm(i,e,oy))}function St(i,e){return i??e}function ay(i,e,t){for(e=St(e,0),t=St(t,i.length-1);e<=t;){if(i[e]!=null)return!0;e++}return!1}function gm(i,e,t){let n=t.min,s=t.max,r=St(n.pad,0),o=St(s.pad,0),a=St(n.hard,-Ut),c=St(s.hard,Ut),l=St(n.soft,Ut),u=St(s.soft,-Ut),h=St(n.mode,0),d=St(s.mode,0),f=e-i,g=hs(f),y=Xn(gn(i),gn(e)),m=hs(y),p=gn(m-g);(f<1e-24||p>10)&&(f=0,(i==0||e==0)&&(f=1e-24,h==2&&l!=Ut&&(r=0),d==2&&u!=-Ut&&(o=0)));let v=f||y||1e3,T=hs(v),S=kr(10,ri(T)),C=v*(f==0?i==0?.1:1:r),E=Ft(Zm(i-C,S/10),24),x=i>=l&&(h==1||h==3&&E<=l||h==2&&E>=l)?l:Ut,A=Xn(a,E<x&&i>=x?x:Ti(x,E)),F=v*(f==0?e==0?.1:1:o),L=Ft(bl(e+F,S/10),24),I=e<=u&&(d==1||d==3&&L>=u||d==2&&L<=u)?u:-Ut,k=Ti(c,L>I&&e<=I?I:Xn(I,L));return A==k&&A==0&&(k=100),[A,k]}var ly=new Intl.NumberFormat(Hr?ny.language:"en-US"),td=i=>ly.format(i),oi=Math,gl=oi.PI,gn=oi.abs,ri=oi.floor,mn=oi.round,_i=oi.ceil,Ti=oi.min,Xn=oi.max,kr=oi.pow,_m=oi.sign,hs=oi.log10,Xm=oi.log2,cy=(i,e=1)=>oi.sinh(i)*e,Fu=(i,e=1)=>oi.asinh(i/e),Ut=1/0;function xm(i){return(hs((i^i>>31)-(i>>31))|0)+1}function Wu(i,e,t){return Ti(Xn(i,e),t)}function qm(i){return typeof i=="function"}function _t(i){return qm(i)?i:()=>i}var hy=()=>{},Ym=i=>i,$m=(i,e)=>e,uy=i=>null,ym=i=>!0,vm=(i,e)=>i==e,dy=/\.\d*?(?=9{6,}|0{6,})/gm,ir=i=>{if(Km(i)||Ns.has(i))return i;let e=`${i}`,t=e.match(dy);if(t==null)return i;let n=t[0].length-1;if(e.indexOf("e-")!=-1){let[s,r]=e.split("e");return+`${ir(s)}e${r}`}return Ft(i,n)};function Qs(i,e){return ir(Ft(ir(i/e))*e)}function bl(i,e){return ir(_i(ir(i/e))*e)}function Zm(i,e){return ir(ri(ir(i/e))*e)}function Ft(i,e=0){if(Km(i))return i;let t=10**e,n=i*t*(1+Number.EPSILON);return mn(n)/t}var Ns=new Map;function Jm(i){return((""+i).split(".")[1]||"").length}function Zo(i,e,t,n){let s=[],r=n.map(Jm);for(let o=e;o<t;o++){let a=gn(o),c=Ft(kr(i,o),a);for(let l=0;l<n.length;l++){let u=i==10?+`${n[l]}e${o}`:n[l]*c,h=(o>=0?0:a)+(o>=r[l]?0:r[l]),d=i==10?u:Ft(u,h);s.push(d),Ns.set(d,h)}}return s}var $o={},nd=[],zr=[null,null],Ds=Array.isArray,Km=Number.isInteger,fy=i=>i===void 0;function Sm(i){return typeof i=="string"}function Ml(i){let e=!1;if(i!=null){let t=i.constructor;e=t==null||t==Object}return e}function py(i){return i!=null&&typeof i=="object"}var my=Object.getPrototypeOf(Uint8Array),jm="__proto__";function Vr(i,e=Ml){let t;if(Ds(i)){let n=i.find(s=>s!=null);if(Ds(n)||e(n)){t=Array(i.length);for(let s=0;s<i.length;s++)t[s]=Vr(i[s],e)}else t=i.slice()}else if(i instanceof my)t=i.slice();else if(e(i)){t={};for(let n in i)n!=jm&&(t[n]=Vr(i[n],e))}else t=i;return t}function un(i){let e=arguments;for(let t=1;t<e.length;t++){let n=e[t];for(let s in n)s!=jm&&(Ml(i[s])?un(i[s],Vr(n[s])):i[s]=Vr(n[s]))}return i}var gy=0,_y=1,xy=2;function yy(i,e,t){for(let n=0,s,r=-1;n<e.length;n++){let o=e[n];if(o>r){for(s=o-1;s>=0&&i[s]==null;)i[s--]=null;for(s=o+1;s<t&&i[s]==null;)i[r=s++]=null}}}function vy(i,e){if(My(i)){let o=i[0].slice();for(let a=1;a<i.length;a++)o.push(...i[a].slice(1));return wy(o[0])||(o=by(o)),o}let t=new Set;for(let o=0;o<i.length;o++){let c=i[o][0],l=c.length;for(let u=0;u<l;u++)t.add(c[u])}let n=[Array.from(t).sort((o,a)=>o-a)],s=n[0].length,r=new Map;for(let o=0;o<s;o++)r.set(n[0][o],o);for(let o=0;o<i.length;o++){let a=i[o],c=a[0];for(let l=1;l<a.length;l++){let u=a[l],h=Array(s).fill(void 0),d=e?e[o][l]:_y,f=[];for(let g=0;g<u.length;g++){let y=u[g],m=r.get(c[g]);y===null?d!=gy&&(h[m]=y,d==xy&&f.push(m)):h[m]=y}yy(h,f,s),n.push(h)}}return n}var Sy=typeof queueMicrotask>"u"?i=>Promise.resolve().then(i):queueMicrotask;function by(i){let e=i[0],t=e.length,n=Array(t);for(let r=0;r<n.length;r++)n[r]=r;n.sort((r,o)=>e[r]-e[o]);let s=[];for(let r=0;r<i.length;r++){let o=i[r],a=Array(t);for(let c=0;c<t;c++)a[c]=o[n[c]];s.push(a)}return s}function My(i){let e=i[0][0],t=e.length;for(let n=1;n<i.length;n++){let s=i[n][0];if(s.length!=t)return!1;if(s!=e){for(let r=0;r<t;r++)if(s[r]!=e[r])return!1}}return!0}function wy(i,e=100){let t=i.length;if(t<=1)return!0;let n=0,s=t-1;for(;n<=s&&i[n]==null;)n++;for(;s>=n&&i[s]==null;)s--;if(s<=n)return!0;let r=Xn(1,ri((s-n+1)/e));for(let o=i[n],a=n+r;a<=s;a+=r){let c=i[a];if(c!=null){if(c<=o)return!1;o=c}}return!0}var Qm=["January","February","March","April","May","June","July","August","September","October","November","December"],eg=["Sunday","Monday","Tuesday","Wednesday","Thursday","Friday","Saturday"];function tg(i){return i.slice(0,3)}var Ay=eg.map(tg),Ey=Qm.map(tg),Ty={MMMM:Qm,MMM:Ey,WWWW:eg,WWW:Ay};function Ho(i){return(i<10?"0":"")+i}function Cy(i){return(i<10?"00":i<100?"0":"")+i}var Ry={YYYY:i=>i.getFullYear(),YY:i=>(i.getFullYear()+"").slice(2),MMMM:(i,e)=>e.MMMM[i.getMonth()],MMM:(i,e)=>e.MMM[i.getMonth()],MM:i=>Ho(i.getMonth()+1),M:i=>i.getMonth()+1,DD:i=>Ho(i.getDate()),D:i=>i.getDate(),WWWW:(i,e)=>e.WWWW[i.getDay()],WWW:(i,e)=>e.WWW[i.getDay()],HH:i=>Ho(i.getHours()),H:i=>i.getHours(),h:i=>{let e=i.getHours();return e==0?12:e>12?e-12:e},AA:i=>i.getHours()>=12?"PM":"AM",aa:i=>i.getHours()>=12?"pm":"am",a:i=>i.getHours()>=12?"p":"a",mm:i=>Ho(i.getMinutes()),m:i=>i.getMinutes(),ss:i=>Ho(i.getSeconds()),s:i=>i.getSeconds(),fff:i=>Cy(i.getMilliseconds())};function id(i,e){e=e||Ty;let t=[],n=/\{([a-z]+)\}|[^{]+/gi,s;for(;s=n.exec(i);)t.push(s[0][0]=="{"?Ry[s[1]]:s[0]);return r=>{let o="";for(let a=0;a<t.length;a++)o+=typeof t[a]=="string"?t[a]:t[a](r,e);return o}}var Py=new Intl.DateTimeFormat().resolvedOptions().timeZone;function Iy(i,e){let t;return e=="UTC"||e=="Etc/UTC"?t=new Date(+i+i.getTimezoneOffset()*6e4):e==Py?t=i:(t=new Date(i.toLocaleString("en-US",{timeZone:e})),t.setMilliseconds(i.getMilliseconds())),t}var ng=i=>i%1==0,yl=[1,2,2.5,5],Ly=Zo(10,-32,0,yl),ig=Zo(10,0,32,yl),Dy=ig.filter(ng),er=Ly.concat(ig),sd=`
`,sg="{YYYY}",bm=sd+sg,rg="{M}/{D}",qo=sd+rg,pl=qo+"/{YY}",og="{aa}",Ny="{h}:{mm}",Or=Ny+og,Mm=sd+Or,wm=":{ss}",wt=null;function ag(i){let e=i*1e3,t=e*60,n=t*60,s=n*24,r=s*30,o=s*365,c=(i==1?Zo(10,0,3,yl).filter(ng):Zo(10,-3,0,yl)).concat([e,e*5,e*10,e*15,e*30,t,t*5,t*10,t*15,t*30,n,n*2,n*3,n*4,n*6,n*8,n*12,s,s*2,s*3,s*4,s*5,s*6,s*7,s*8,s*9,s*10,s*15,r,r*2,r*3,r*4,r*6,o,o*2,o*5,o*10,o*25,o*50,o*100]),l=[[o,sg,wt,wt,wt,wt,wt,wt,1],[s*28,"{MMM}",bm,wt,wt,wt,wt,wt,1],[s,rg,bm,wt,wt,wt,wt,wt,1],[n,"{h}"+og,pl,wt,qo,wt,wt,wt,1],[t,Or,pl,wt,qo,wt,wt,wt,1],[e,wm,pl+" "+Or,wt,qo+" "+Or,wt,Mm,wt,1],[i,wm+".{fff}",pl+" "+Or,wt,qo+" "+Or,wt,Mm,wt,1]];function u(h){return(d,f,g,y,m,p)=>{let v=[],T=m>=o,S=m>=r&&m<o,C=h(g),E=Ft(C*i,3),x=Ou(C.getFullYear(),T?0:C.getMonth(),S||T?1:C.getDate()),A=Ft(x*i,3);if(S||T){let F=S?m/r:0,L=T?m/o:0,I=E==A?E:Ft(Ou(x.getFullYear()+L,x.getMonth()+F,1)*i,3),k=new Date(mn(I/i)),V=k.getFullYear(),N=k.getMonth();for(let W=0;I<=y;W++){let $=Ou(V+L*W,N+F*W,1),H=$-h(Ft($*i,3));I=Ft((+$+H)*i,3),I<=y&&v.push(I)}}else{let F=m>=s?s:m,L=ri(g)-ri(E),I=A+L+bl(E-A,F);v.push(I);let k=h(I),V=k.getHours()+k.getMinutes()/t+k.getSeconds()/n,N=m/n,W=d.axes[f]._space,$=p/W;for(;I=Ft(I+m,i==1?0:3),!(I>y);)if(N>1){let H=ri(Ft(V+N,6))%24,Q=h(I).getHours()-H;Q>1&&(Q=-1),I-=Q*n,V=(V+N)%24;let se=v[v.length-1];Ft((I-se)/m,3)*$>=.7&&v.push(I)}else v.push(I)}return v}}return[c,l,u]}var[Uy,Fy,Oy]=ag(1),[By,ky,zy]=ag(.001);Zo(2,-53,53,[1]);function Am(i,e){return i.map(t=>t.map((n,s)=>s==0||s==8||n==null?n:e(s==1||t[8]==0?n:t[1]+n)))}function Em(i,e){return(t,n,s,r,o)=>{let a=e.find(g=>o>=g[0])||e[e.length-1],c,l,u,h,d,f;return n.map(g=>{let y=i(g),m=y.getFullYear(),p=y.getMonth(),v=y.getDate(),T=y.getHours(),S=y.getMinutes(),C=y.getSeconds(),E=m!=c&&a[2]||p!=l&&a[3]||v!=u&&a[4]||T!=h&&a[5]||S!=d&&a[6]||C!=f&&a[7]||a[1];return c=m,l=p,u=v,h=T,d=S,f=C,E(y)})}}function Vy(i,e){let t=id(e);return(n,s,r,o,a)=>s.map(c=>t(i(c)))}function Ou(i,e,t){return new Date(i,e,t)}function Tm(i,e){return e(i)}var Gy="{YYYY}-{MM}-{DD} {h}:{mm}{aa}";function Cm(i,e){return(t,n,s,r)=>r==null?Ku:e(i(n))}function Hy(i,e){let t=i.series[e];return t.width?t.stroke(i,e):t.points.width?t.points.stroke(i,e):null}function Wy(i,e){return i.series[e].fill(i,e)}var Xy={show:!0,live:!0,isolate:!1,mount:hy,markers:{show:!0,width:2,stroke:Hy,fill:Wy,dash:"solid"},idx:null,idxs:null,values:[]};function qy(i,e){let t=i.cursor.points,n=gi(),s=t.size(i,e);Gt(n,Wo,s),Gt(n,Xo,s);let r=s/-2;Gt(n,"marginLeft",r),Gt(n,"marginTop",r);let o=t.width(i,e,s);return o&&Gt(n,"borderWidth",o),n}function Yy(i,e){let t=i.series[e].points;return t._fill||t._stroke}function $y(i,e){let t=i.series[e].points;return t._stroke||t._fill}function Zy(i,e){return i.series[e].points.size}var Bu=[0,0];function Jy(i,e,t){return Bu[0]=e,Bu[1]=t,Bu}function ml(i,e,t,n=!0){return s=>{s.button==0&&(!n||s.target==e)&&t(s)}}function ku(i,e,t,n=!0){return s=>{(!n||s.target==e)&&t(s)}}var Ky={show:!0,x:!0,y:!0,lock:!1,move:Jy,points:{one:!1,show:qy,size:Zy,width:0,stroke:$y,fill:Yy},bind:{mousedown:ml,mouseup:ml,click:ml,dblclick:ml,mousemove:ku,mouseleave:ku,mouseenter:ku},drag:{setScale:!0,x:!0,y:!1,dist:0,uni:null,click:(i,e)=>{e.stopPropagation(),e.stopImmediatePropagation()},_x:!1,_y:!1},focus:{dist:(i,e,t,n,s)=>n-s,prox:-1,bias:0},hover:{skip:[void 0],prox:null,bias:0},left:-10,top:-10,idx:null,dataIdx:null,idxs:null,event:null},lg={show:!0,stroke:"rgba(0,0,0,0.07)",width:2},rd=un({},lg,{filter:$m}),cg=un({},rd,{size:10}),hg=un({},lg,{show:!1}),od='12px system-ui, -apple-system, "Segoe UI", Roboto, "Helvetica Neue", Arial, "Noto Sans", sans-serif, "Apple Color Emoji", "Segoe UI Emoji", "Segoe UI Symbol", "Noto Color Emoji"',ug="bold "+od,dg=1.5,Rm={show:!0,scale:"x",stroke:Ju,space:50,gap:5,alignTo:1,size:50,labelGap:0,labelSize:30,labelFont:ug,side:2,grid:rd,ticks:cg,border:hg,font:od,lineGap:dg,rotate:0},jy="Value",Qy="Time",Pm={show:!0,scale:"x",auto:!1,sorted:1,min:Ut,max:-Ut,idxs:[]};function ev(i,e,t,n,s){return e.map(r=>r==null?"":td(r))}function tv(i,e,t,n,s,r,o){let a=[],c=Ns.get(s)||0;t=o?t:Ft(bl(t,s),c);for(let l=t;l<=n;l=Ft(l+s,c))a.push(Object.is(l,-0)?0:l);return a}function Xu(i,e,t,n,s,r,o){let a=[],c=i.scales[i.axes[e].scale].log,l=c==10?hs:Xm,u=ri(l(t));s=kr(c,u),c==10&&(s=er[Ei(s,er)]);let h=t,d=s*c;c==10&&(d=er[Ei(d,er)]);do a.push(h),h=h+s,c==10&&!Ns.has(h)&&(h=Ft(h,Ns.get(s))),h>=d&&(s=h,d=s*c,c==10&&(d=er[Ei(d,er)]));while(h<=n);return a}function nv(i,e,t,n,s,r,o){let c=i.scales[i.axes[e].scale].asinh,l=n>c?Xu(i,e,Xn(c,t),n,s):[c],u=n>=0&&t<=0?[0]:[];return(t<-c?Xu(i,e,Xn(c,-n),-t,s):[c]).reverse().map(d=>-d).concat(u,l)}var fg=/./,iv=/[12357]/,sv=/[125]/,Im=/1/,qu=(i,e,t,n)=>i.map((s,r)=>e==4&&s==0||r%n==0&&t.test(s.toExponential()[s<0?1:0])?s:null);function rv(i,e,t,n,s){let r=i.axes[t],o=r.scale,a=i.scales[o],c=i.valToPos,l=r._space,u=c(10,o),h=c(9,o)-u>=l?fg:c(7,o)-u>=l?iv:c(5,o)-u>=l?sv:Im;if(h==Im){let d=gn(c(1,o)-u);if(d<l)return qu(e.slice().reverse(),a.distr,h,_i(l/d)).reverse()}return qu(e,a.distr,h,1)}function ov(i,e,t,n,s){let r=i.axes[t],o=r.scale,a=r._space,c=i.valToPos,l=gn(c(1,o)-c(2,o));return l<a?qu(e.slice().reverse(),3,fg,_i(a/l)).reverse():e}function av(i,e,t,n){return n==null?Ku:e==null?"":td(e)}var Lm={show:!0,scale:"y",stroke:Ju,space:30,gap:5,alignTo:1,size:50,labelGap:0,labelSize:30,labelFont:ug,side:3,grid:rd,ticks:cg,border:hg,font:od,lineGap:dg,rotate:0};function lv(i,e){let t=3+(i||1)*2;return Ft(t*e,3)}function cv(i,e){let{scale:t,idxs:n}=i.series[0],s=i._data[0],r=i.valToPos(s[n[0]],t,!0),o=i.valToPos(s[n[1]],t,!0),a=gn(o-r),c=i.series[e],l=a/(c.points.space*Mt);return n[1]-n[0]<=l}var Dm={scale:null,auto:!0,sorted:0,min:Ut,max:-Ut},pg=(i,e,t,n,s)=>s,Nm={show:!0,auto:!0,sorted:0,gaps:pg,alpha:1,facets:[un({},Dm,{scale:"x"}),un({},Dm,{scale:"y"})]},Um={scale:"y",auto:!0,sorted:0,show:!0,spanGaps:!1,gaps:pg,alpha:1,points:{show:cv,filter:null},values:null,min:Ut,max:-Ut,idxs:[],path:null,clip:null};function hv(i,e,t,n,s){return t/10}var mg={time:!0,auto:!0,distr:1,log:10,asinh:1,min:null,max:null,dir:1,ori:0},uv=un({},mg,{time:!1,ori:1}),Fm={};function gg(i,e){let t=Fm[i];return t||(t={key:i,plots:[],sub(n){t.plots.push(n)},unsub(n){t.plots=t.plots.filter(s=>s!=n)},pub(n,s,r,o,a,c,l){for(let u=0;u<t.plots.length;u++)t.plots[u]!=s&&t.plots[u].pub(n,s,r,o,a,c,l)}},i!=null&&(Fm[i]=t)),t}var Gr=1,Yu=2;function sr(i,e,t){let n=i.mode,s=i.series[e],r=n==2?i._data[e]:i._data,o=i.scales,a=i.bbox,c=r[0],l=n==2?r[1]:r[e],u=n==2?o[s.facets[0].scale]:o[i.series[0].scale],h=n==2?o[s.facets[1].scale]:o[s.scale],d=a.left,f=a.top,g=a.width,y=a.height,m=i.valToPosH,p=i.valToPosV;return u.ori==0?t(s,c,l,u,h,m,p,d,f,g,y,Al,Wr,Tl,xg,vg):t(s,c,l,u,h,p,m,f,d,y,g,El,Xr,cd,yg,Sg)}function ad(i,e){let t=0,n=0,s=St(i.bands,nd);for(let r=0;r<s.length;r++){let o=s[r];o.series[0]==e?t=o.dir:o.series[1]==e&&(o.dir==1?n|=1:n|=2)}return[t,n==1?-1:n==2?1:n==3?2:0]}function dv(i,e,t,n,s){let r=i.mode,o=i.series[e],a=r==2?o.facets[1].scale:o.scale,c=i.scales[a];return s==-1?c.min:s==1?c.max:c.distr==3?c.dir==1?c.min:c.max:0}function us(i,e,t,n,s,r){return sr(i,e,(o,a,c,l,u,h,d,f,g,y,m)=>{let p=o.pxRound,v=l.dir*(l.ori==0?1:-1),T=l.ori==0?Wr:Xr,S,C;v==1?(S=t,C=n):(S=n,C=t);let E=p(h(a[S],l,y,f)),x=p(d(c[S],u,m,g)),A=p(h(a[C],l,y,f)),F=p(d(r==1?u.max:u.min,u,m,g)),L=new Path2D(s);return T(L,A,F),T(L,E,F),T(L,E,x),L})}function wl(i,e,t,n,s,r){let o=null;if(i.length>0){o=new Path2D;let a=e==0?Tl:cd,c=t;for(let h=0;h<i.length;h++){let d=i[h];if(d[1]>d[0]){let f=d[0]-c;f>0&&a(o,c,n,f,n+r),c=d[1]}}let l=t+s-c,u=10;l>0&&a(o,c,n-u/2,l,n+r+u)}return o}function fv(i,e,t){let n=i[i.length-1];n&&n[0]==e?n[1]=t:i.push([e,t])}function ld(i,e,t,n,s,r,o){let a=[],c=i.length;for(let l=s==1?t:n;l>=t&&l<=n;l+=s)if(e[l]===null){let h=l,d=l;if(s==1)for(;++l<=n&&e[l]===null;)d=l;else for(;--l>=t&&e[l]===null;)d=l;let f=r(i[h]),g=d==h?f:r(i[d]),y=h-s;f=o<=0&&y>=0&&y<c?r(i[y]):f;let p=d+s;g=o>=0&&p>=0&&p<c?r(i[p]):g,g>=f&&a.push([f,g])}return a}function Om(i){return i==0?Ym:i==1?mn:e=>Qs(e,i)}function _g(i){let e=i==0?Al:El,t=i==0?(s,r,o,a,c,l)=>{s.arcTo(r,o,a,c,l)}:(s,r,o,a,c,l)=>{s.arcTo(o,r,c,a,l)},n=i==0?(s,r,o,a,c)=>{s.rect(r,o,a,c)}:(s,r,o,a,c)=>{s.rect(o,r,c,a)};return(s,r,o,a,c,l=0,u=0)=>{l==0&&u==0?n(s,r,o,a,c):(l=Ti(l,a/2,c/2),u=Ti(u,a/2,c/2),e(s,r+l,o),t(s,r+a,o,r+a,o+c,l),t(s,r+a,o+c,r,o+c,u),t(s,r,o+c,r,o,u),t(s,r,o,r+a,o,l),s.closePath())}}var Al=(i,e,t)=>{i.moveTo(e,t)},El=(i,e,t)=>{i.moveTo(t,e)},Wr=(i,e,t)=>{i.lineTo(e,t)},Xr=(i,e,t)=>{i.lineTo(t,e)},Tl=_g(0),cd=_g(1),xg=(i,e,t,n,s,r)=>{i.arc(e,t,n,s,r)},yg=(i,e,t,n,s,r)=>{i.arc(t,e,n,s,r)},vg=(i,e,t,n,s,r,o)=>{i.bezierCurveTo(e,t,n,s,r,o)},Sg=(i,e,t,n,s,r,o)=>{i.bezierCurveTo(t,e,s,n,o,r)};function bg(i){return(e,t,n,s,r)=>sr(e,t,(o,a,c,l,u,h,d,f,g,y,m)=>{let{pxRound:p,points:v}=o,T,S;l.ori==0?(T=Al,S=xg):(T=El,S=yg);let C=Ft(v.width*Mt,3),E=(v.size-v.width)/2*Mt,x=Ft(E*2,3),A=new Path2D,F=new Path2D,{left:L,top:I,width:k,height:V}=e.bbox;Tl(F,L-x,I-x,k+x*2,V+x*2);let N=W=>{if(c[W]!=null){let $=p(h(a[W],l,y,f)),H=p(d(c[W],u,m,g));T(A,$+E,H),S(A,$,H,E,0,gl*2)}};if(r)r.forEach(N);else for(let W=n;W<=s;W++)N(W);return{stroke:C>0?A:null,fill:A,clip:F,flags:Gr|Yu}})}function Mg(i){return(e,t,n,s,r,o)=>{n!=s&&(r!=n&&o!=n&&i(e,t,n),r!=s&&o!=s&&i(e,t,s),i(e,t,o))}}var pv=Mg(Wr),mv=Mg(Xr);function wg(i){let e=St(i?.alignGaps,0);return(t,n,s,r)=>sr(t,n,(o,a,c,l,u,h,d,f,g,y,m)=>{[s,r]=vl(c,s,r);let p=o.pxRound,v=V=>p(h(V,l,y,f)),T=V=>p(d(V,u,m,g)),S,C;l.ori==0?(S=Wr,C=pv):(S=Xr,C=mv);let E=l.dir*(l.ori==0?1:-1),x={stroke:new Path2D,fill:null,clip:null,band:null,gaps:null,flags:Gr},A=x.stroke,F=!1;if(r-s>=y*4){let V=ue=>t.posToVal(ue,l.key,!0),N=null,W=null,$,H,ce,K=v(a[E==1?s:r]),Q=v(a[s]),se=v(a[r]),de=V(E==1?Q+1:se-1);for(let ue=E==1?s:r;ue>=s&&ue<=r;ue+=E){let ee=a[ue],xe=(E==1?ee<de:ee>de)?K:v(ee),Te=c[ue];xe==K?Te!=null?(H=Te,N==null?(S(A,xe,T(H)),$=N=W=H):H<N?N=H:H>W&&(W=H)):Te===null&&(F=!0):(N!=null&&C(A,K,T(N),T(W),T($),T(H)),Te!=null?(H=Te,S(A,xe,T(H)),N=W=$=H):(N=W=null,Te===null&&(F=!0)),K=xe,de=V(K+E))}N!=null&&N!=W&&ce!=K&&C(A,K,T(N),T(W),T($),T(H))}else for(let V=E==1?s:r;V>=s&&V<=r;V+=E){let N=c[V];N===null?F=!0:N!=null&&S(A,v(a[V]),T(N))}let[I,k]=ad(t,n);if(o.fill!=null||I!=0){let V=x.fill=new Path2D(A),N=o.fillTo(t,n,o.min,o.max,I),W=T(N),$=v(a[s]),H=v(a[r]);E==-1&&([H,$]=[$,H]),S(V,H,W),S(V,$,W)}if(!o.spanGaps){let V=[];F&&V.push(...ld(a,c,s,r,E,v,e)),x.gaps=V=o.gaps(t,n,s,r,V),x.clip=wl(V,l.ori,f,g,y,m)}return k!=0&&(x.band=k==2?[us(t,n,s,r,A,-1),us(t,n,s,r,A,1)]:us(t,n,s,r,A,k)),x})}function gv(i){let e=St(i.align,1),t=St(i.ascDesc,!1),n=St(i.alignGaps,0),s=St(i.extend,!1);return(r,o,a,c)=>sr(r,o,(l,u,h,d,f,g,y,m,p,v,T)=>{[a,c]=vl(h,a,c);let S=l.pxRound,{left:C,width:E}=r.bbox,x=Q=>S(g(Q,d,v,m)),A=Q=>S(y(Q,f,T,p)),F=d.ori==0?Wr:Xr,L={stroke:new Path2D,fill:null,clip:null,band:null,gaps:null,flags:Gr},I=L.stroke,k=d.dir*(d.ori==0?1:-1),V=A(h[k==1?a:c]),N=x(u[k==1?a:c]),W=N,$=N;s&&e==-1&&($=C,F(I,$,V)),F(I,N,V);for(let Q=k==1?a:c;Q>=a&&Q<=c;Q+=k){let se=h[Q];if(se==null)continue;let de=x(u[Q]),ue=A(se);e==1?F(I,de,V):F(I,W,ue),F(I,de,ue),V=ue,W=de}let H=W;s&&e==1&&(H=C+E,F(I,H,V));let[ce,K]=ad(r,o);if(l.fill!=null||ce!=0){let Q=L.fill=new Path2D(I),se=l.fillTo(r,o,l.min,l.max,ce),de=A(se);F(Q,H,de),F(Q,$,de)}if(!l.spanGaps){let Q=[];Q.push(...ld(u,h,a,c,k,x,n));let se=l.width*Mt/2,de=t||e==1?se:-se,ue=t||e==-1?-se:se;Q.forEach(ee=>{ee[0]+=de,ee[1]+=ue}),L.gaps=Q=l.gaps(r,o,a,c,Q),L.clip=wl(Q,d.ori,m,p,v,T)}return K!=0&&(L.band=K==2?[us(r,o,a,c,I,-1),us(r,o,a,c,I,1)]:us(r,o,a,c,I,K)),L})}function Bm(i,e,t,n,s,r,o=Ut){if(i.length>1){let a=null;for(let c=0,l=1/0;c<i.length;c++)if(e[c]!==void 0){if(a!=null){let u=gn(i[c]-i[a]);u<l&&(l=u,o=gn(t(i[c],n,s,r)-t(i[a],n,s,r)))}a=c}}return o}function _v(i){i=i||$o;let e=St(i.size,[.6,Ut,1]),t=i.align||0,n=i.gap||0,s=i.radius;s=s==null?[0,0]:typeof s=="number"?[s,0]:s;let r=_t(s),o=1-e[0],a=St(e[1],Ut),c=St(e[2],1),l=St(i.disp,$o),u=St(i.each,f=>{}),{fill:h,stroke:d}=l;return(f,g,y,m)=>sr(f,g,(p,v,T,S,C,E,x,A,F,L,I)=>{let k=p.pxRound,V=t,N=n*Mt,W=a*Mt,$=c*Mt,H,ce;S.ori==0?[H,ce]=r(f,g):[ce,H]=r(f,g);let K=S.dir*(S.ori==0?1:-1),Q=S.ori==0?Tl:cd,se=S.ori==0?u:(Re,$e,rt,Me,Nt,ze,qe)=>{u(Re,$e,rt,Nt,Me,qe,ze)},de=St(f.bands,nd).find(Re=>Re.series[0]==g),ue=de!=null?de.dir:0,ee=p.fillTo(f,g,p.min,p.max,ue),me=k(x(ee,C,I,F)),xe,Te,be,We=L,st=k(p.width*Mt),Ve=!1,ut=null,lt=null,nt=null,Wt=null;h!=null&&(st==0||d!=null)&&(Ve=!0,ut=h.values(f,g,y,m),lt=new Map,new Set(ut).forEach(Re=>{Re!=null&&lt.set(Re,new Path2D)}),st>0&&(nt=d.values(f,g,y,m),Wt=new Map,new Set(nt).forEach(Re=>{Re!=null&&Wt.set(Re,new Path2D)})));let{x0:Ot,size:rn}=l;if(Ot!=null&&rn!=null){V=1,v=Ot.values(f,g,y,m),Ot.unit==2&&(v=v.map(rt=>f.posToVal(A+rt*L,S.key,!0)));let Re=rn.values(f,g,y,m);rn.unit==2?Te=Re[0]*L:Te=E(Re[0],S,L,A)-E(0,S,L,A),We=Bm(v,T,E,S,L,A,We),be=We-Te+N}else We=Bm(v,T,E,S,L,A,We),be=We*o+N,Te=We-be;be<1&&(be=0),st>=Te/2&&(st=0),be<5&&(k=Ym);let It=be>0,vn=We-be-(It?st:0);Te=k(Wu(vn,$,W)),xe=(V==0?Te/2:V==K?0:Te)-V*K*((V==0?N/2:0)+(It?st/2:0));let yt={stroke:null,fill:null,clip:null,band:null,gaps:null,flags:0},fn=Ve?null:new Path2D,Yt=null;if(de!=null)Yt=f.data[de.series[1]];else{let{y0:Re,y1:$e}=l;Re!=null&&$e!=null&&(T=$e.values(f,g,y,m),Yt=Re.values(f,g,y,m))}let on=H*Te,B=ce*Te;for(let Re=K==1?y:m;Re>=y&&Re<=m;Re+=K){let $e=T[Re];if($e==null)continue;if(Yt!=null){let q=Yt[Re]??0;if($e-q==0)continue;me=x(q,C,I,F)}let rt=S.distr!=2||l!=null?v[Re]:Re,Me=E(rt,S,L,A),Nt=x(St($e,ee),C,I,F),ze=k(Me-xe),qe=k(Xn(Nt,me)),R=k(Ti(Nt,me)),b=qe-R;if($e!=null){let q=$e<0?B:on,he=$e<0?on:B;Ve?(st>0&&nt[Re]!=null&&Q(Wt.get(nt[Re]),ze,R+ri(st/2),Te,Xn(0,b-st),q,he),ut[Re]!=null&&Q(lt.get(ut[Re]),ze,R+ri(st/2),Te,Xn(0,b-st),q,he)):Q(fn,ze,R+ri(st/2),Te,Xn(0,b-st),q,he),se(f,g,Re,ze-st/2,R,Te+st,b)}}return st>0?yt.stroke=Ve?Wt:fn:Ve||(yt._fill=p.width==0?p._fill:p._stroke??p._fill,yt.width=0),yt.fill=Ve?lt:fn,yt})}function xv(i,e){let t=St(e?.alignGaps,0);return(n,s,r,o)=>sr(n,s,(a,c,l,u,h,d,f,g,y,m,p)=>{[r,o]=vl(l,r,o);let v=a.pxRound,T=H=>v(d(H,u,m,g)),S=H=>v(f(H,h,p,y)),C,E,x;u.ori==0?(C=Al,x=Wr,E=vg):(C=El,x=Xr,E=Sg);let A=u.dir*(u.ori==0?1:-1),F=T(c[A==1?r:o]),L=F,I=[],k=[];for(let H=A==1?r:o;H>=r&&H<=o;H+=A)if(l[H]!=null){let K=c[H],Q=T(K);I.push(L=Q),k.push(S(l[H]))}let V={stroke:i(I,k,C,x,E,v),fill:null,clip:null,band:null,gaps:null,flags:Gr},N=V.stroke,[W,$]=ad(n,s);if(a.fill!=null||W!=0){let H=V.fill=new Path2D(N),ce=a.fillTo(n,s,a.min,a.max,W),K=S(ce);x(H,L,K),x(H,F,K)}if(!a.spanGaps){let H=[];H.push(...ld(c,l,r,o,A,T,t)),V.gaps=H=a.gaps(n,s,r,o,H),V.clip=wl(H,u.ori,g,y,m,p)}return $!=0&&(V.band=$==2?[us(n,s,r,o,N,-1),us(n,s,r,o,N,1)]:us(n,s,r,o,N,$)),V})}function yv(i){return xv(vv,i)}function vv(i,e,t,n,s,r){let o=i.length;if(o<2)return null;let a=new Path2D;if(t(a,i[0],e[0]),o==2)n(a,i[1],e[1]);else{let c=Array(o),l=Array(o-1),u=Array(o-1),h=Array(o-1);for(let d=0;d<o-1;d++)u[d]=e[d+1]-e[d],h[d]=i[d+1]-i[d],l[d]=u[d]/h[d];c[0]=l[0];for(let d=1;d<o-1;d++)l[d]===0||l[d-1]===0||l[d-1]>0!=l[d]>0?c[d]=0:(c[d]=3*(h[d-1]+h[d])/((2*h[d]+h[d-1])/l[d-1]+(h[d]+2*h[d-1])/l[d]),isFinite(c[d])||(c[d]=0));c[o-1]=l[o-2];for(let d=0;d<o-1;d++)s(a,i[d]+h[d]/3,e[d]+c[d]*h[d]/3,i[d+1]-h[d]/3,e[d+1]-c[d+1]*h[d]/3,i[d+1],e[d+1])}return a}var $u=new Set;function km(){for(let i of $u)i.syncRect(!0)}Hr&&(nr(ey,Br,km),nr(ty,Br,km,!0),nr(_l,Br,()=>{An.pxRatio=Mt}));var Sv=wg(),bv=bg();function zm(i,e,t,n){return(n?[i[0],i[1]].concat(i.slice(2)):[i[0]].concat(i.slice(1))).map((r,o)=>Zu(r,o,e,t))}function Mv(i,e){return i.map((t,n)=>n==0?{}:un({},e,t))}function Zu(i,e,t,n){return un({},e==0?t:n,i)}function Ag(i,e,t){return e==null?zr:[e,t]}var wv=Ag;function Av(i,e,t){return e==null?zr:xl(e,t,ed,!0)}function Eg(i,e,t,n){return e==null?zr:Sl(e,t,i.scales[n].log,!1)}var Ev=Eg;function Tg(i,e,t,n){return e==null?zr:Qu(e,t,i.scales[n].log,!1)}var Tv=Tg;function Cv(i,e,t,n,s){let r=Xn(xm(i),xm(e)),o=e-i,a=Ei(s/n*o,t);do{let c=t[a],l=n*c/o;if(l>=s&&r+(c<5?Ns.get(c):0)<=17)return[c,l]}while(++a<t.length);return[0,0]}function Vm(i){let e,t;return i=i.replace(/(\d+)px/,(n,s)=>(e=mn((t=+s)*Mt))+"px"),[i,e,t]}function Rv(i){i.show&&[i.font,i.labelFont].forEach(e=>{let t=Ft(e[2]*Mt,1);e[0]=e[0].replace(/[0-9.]+px/,t+"px"),e[1]=t})}function An(i,e,t){let n={mode:St(i.mode,1)},s=n.mode;function r(_,M,P,D){let G=M.valToPct(_);return D+P*(M.dir==-1?1-G:G)}function o(_,M,P,D){let G=M.valToPct(_);return D+P*(M.dir==-1?G:1-G)}function a(_,M,P,D){return M.ori==0?r(_,M,P,D):o(_,M,P,D)}n.valToPosH=r,n.valToPosV=o;let c=!1;n.status=0;let l=n.root=gi(Fx);if(i.id!=null&&(l.id=i.id),si(l,i.class),i.title){let _=gi(kx,l);_.textContent=i.title}let u=Ai("canvas"),h=n.ctx=u.getContext("2d"),d=gi(zx,l);nr("click",d,_=>{_.target===g&&(kt!=Ar||Xt!=Er)&&Rn.click(n,_)},!0);let f=n.under=gi(Vx,d);d.appendChild(u);let g=n.over=gi(Gx,d);i=Vr(i);let y=+St(i.pxAlign,1),m=Om(y);(i.plugins||[]).forEach(_=>{_.opts&&(i=_.opts(n,i)||i)});let p=i.ms||.001,v=n.series=s==1?zm(i.series||[],Pm,Um,!1):Mv(i.series||[null],Nm),T=n.axes=zm(i.axes||[],Rm,Lm,!0),S=n.scales={},C=n.bands=i.bands||[];C.forEach(_=>{_.fill=_t(_.fill||null),_.dir=St(_.dir,-1)});let E=s==2?v[1].facets[0].scale:v[0].scale,x={axes:os,series:ft},A=(i.drawOrder||["axes","series"]).map(_=>x[_]);function F(_){let M=_.distr==3?P=>hs(P>0?P:_.clamp(n,P,_.min,_.max,_.key)):_.distr==4?P=>Fu(P,_.asinh):_.distr==100?P=>_.fwd(P):P=>P;return P=>{let D=M(P),{_min:G,_max:J}=_,ae=J-G;return(D-G)/ae}}function L(_){let M=S[_];if(M==null){let P=(i.scales||$o)[_]||$o;if(P.from!=null){L(P.from);let D=un({},S[P.from],P,{key:_});D.valToPct=F(D),S[_]=D}else{M=S[_]=un({},_==E?mg:uv,P),M.key=_;let D=M.time,G=M.range,J=Ds(G);if((_!=E||s==2&&!D)&&(J&&(G[0]==null||G[1]==null)&&(G={min:G[0]==null?mm:{mode:1,hard:G[0],soft:G[0]},max:G[1]==null?mm:{mode:1,hard:G[1],soft:G[1]}},J=!1),!J&&Ml(G))){let ae=G;G=(fe,ve,De)=>ve==null?zr:xl(ve,De,ae)}M.range=_t(G||(D?wv:_==E?M.distr==3?Ev:M.distr==4?Tv:Ag:M.distr==3?Eg:M.distr==4?Tg:Av)),M.auto=_t(J?!1:M.auto),M.clamp=_t(M.clamp||hv),M._min=M._max=null,M.valToPct=F(M)}}}L("x"),L("y"),s==1&&v.forEach(_=>{L(_.scale)}),T.forEach(_=>{L(_.scale)});for(let _ in i.scales)L(_);let I=S[E],k=I.distr,V,N;I.ori==0?(si(l,Ox),V=r,N=o):(si(l,Bx),V=o,N=r);let W={};for(let _ in S){let M=S[_];(M.min!=null||M.max!=null)&&(W[_]={min:M.min,max:M.max},M.min=M.max=null)}let $=i.tzDate||(_=>new Date(mn(_/p))),H=i.fmtDate||id,ce=p==1?Oy($):zy($),K=Em($,Am(p==1?Fy:ky,H)),Q=Cm($,Tm(Gy,H)),se=[],de=n.legend=un({},Xy,i.legend),ue=n.cursor=un({},Ky,{drag:{y:s==2}},i.cursor),ee=de.show,me=ue.show,xe=de.markers;de.idxs=se,xe.width=_t(xe.width),xe.dash=_t(xe.dash),xe.stroke=_t(xe.stroke),xe.fill=_t(xe.fill);let Te,be,We,st=[],Ve=[],ut,lt=!1,nt={};if(de.live){let _=v[1]?v[1].values:null;lt=_!=null,ut=lt?_(n,1,0):{_:0};for(let M in ut)nt[M]=Ku}if(ee)if(Te=Ai("table",$x,l),We=Ai("tbody",null,Te),de.mount(n,Te),lt){be=Ai("thead",null,Te,We);let _=Ai("tr",null,be);Ai("th",null,_);for(var Wt in ut)Ai("th",nm,_).textContent=Wt}else si(Te,Jx),de.live&&si(Te,Zx);let Ot={show:!0},rn={show:!1};function It(_,M){if(M==0&&(lt||!de.live||s==2))return zr;let P=[],D=Ai("tr",Kx,We,We.childNodes[M]);si(D,_.class),_.show||si(D,tr);let G=Ai("th",null,D);if(xe.show){let fe=gi(jx,G);if(M>0){let ve=xe.width(n,M);ve&&(fe.style.border=ve+"px "+xe.dash(n,M)+" "+xe.stroke(n,M)),fe.style.background=xe.fill(n,M)}}let J=gi(nm,G);_.label instanceof HTMLElement?J.appendChild(_.label):J.textContent=_.label,M>0&&(xe.show||(J.style.color=_.width>0?xe.stroke(n,M):xe.fill(n,M)),yt("click",G,fe=>{if(ue._lock)return;Je(fe);let ve=v.indexOf(_);if((fe.ctrlKey||fe.metaKey)!=de.isolate){let De=v.some((Ne,Fe)=>Fe>0&&Fe!=ve&&Ne.show);v.forEach((Ne,Fe)=>{Fe>0&&Vi(Fe,De?Fe==ve?Ot:rn:Ot,!0,hn.setSeries)})}else Vi(ve,{show:!_.show},!0,hn.setSeries)},!1),Ke&&yt(om,G,fe=>{ue._lock||(Je(fe),Vi(v.indexOf(_),Cr,!0,hn.setSeries))},!1));for(var ae in ut){let fe=Ai("td",Qx,D);fe.textContent="--",P.push(fe)}return[D,P]}let vn=new Map;function yt(_,M,P,D=!0){let G=vn.get(M)||{},J=ue.bind[_](n,M,P,D);J&&(nr(_,M,G[_]=J),vn.set(M,G))}function fn(_,M,P){let D=vn.get(M)||{};for(let G in D)(_==null||G==_)&&(Hu(G,M,D[G]),delete D[G]);_==null&&vn.delete(M)}let Yt=0,on=0,B=0,Re=0,$e=0,rt=0,Me=$e,Nt=rt,ze=B,qe=Re,R=0,b=0,q=0,he=0;n.bbox={};let oe=!1,_e=!1,ye=!1,te=!1,ie=!1,pe=!1;function O(_,M,P){(P||_!=n.width||M!=n.height)&&re(_,M),ct(!1),ye=!0,_e=!0,Fn()}function re(_,M){n.width=Yt=B=_,n.height=on=Re=M,$e=rt=0,Se(),Ge();let P=n.bbox;R=P.left=Qs($e*Mt,.5),b=P.top=Qs(rt*Mt,.5),q=P.width=Qs(B*Mt,.5),he=P.height=Qs(Re*Mt,.5)}let ne=3;function we(){let _=!1,M=0;for(;!_;){M++;let P=br(M),D=zi(M);_=M==ne||P&&D,_||(re(n.width,n.height),_e=!0)}}function ge({width:_,height:M}){O(_,M)}n.setSize=ge;function Se(){let _=!1,M=!1,P=!1,D=!1;T.forEach((G,J)=>{if(G.show&&G._show){let{side:ae,_size:fe}=G,ve=ae%2,De=G.label!=null?G.labelSize:0,Ne=fe+De;Ne>0&&(ve?(B-=Ne,ae==3?($e+=Ne,D=!0):P=!0):(Re-=Ne,ae==0?(rt+=Ne,_=!0):M=!0))}}),Bi[0]=_,Bi[1]=P,Bi[2]=M,Bi[3]=D,B-=Si[1]+Si[3],$e+=Si[3],Re-=Si[2]+Si[0],rt+=Si[0]}function Ge(){let _=$e+B,M=rt+Re,P=$e,D=rt;function G(J,ae){switch(J){case 1:return _+=ae,_-ae;case 2:return M+=ae,M-ae;case 3:return P-=ae,P+ae;case 0:return D-=ae,D+ae}}T.forEach((J,ae)=>{if(J.show&&J._show){let fe=J.side;J._pos=G(fe,J._size),J.label!=null&&(J._lpos=G(fe,J.labelSize))}})}if(ue.dataIdx==null){let _=ue.hover,M=_.skip=new Set(_.skip??[]);M.add(void 0);let P=_.prox=_t(_.prox),D=_.bias??(_.bias=0);ue.dataIdx=(G,J,ae,fe)=>{if(J==0)return ae;let ve=ae,De=P(G,J,ae,fe)??Ut,Ne=De>=0&&De<Ut,Fe=I.ori==0?B:Re,it=ue.left,bt=e[0],vt=e[J];if(M.has(vt[ae])){ve=null;let pt=null,Ze=null,Xe;if(D==0||D==-1)for(Xe=ae;pt==null&&Xe-- >0;)M.has(vt[Xe])||(pt=Xe);if(D==0||D==1)for(Xe=ae;Ze==null&&Xe++<vt.length;)M.has(vt[Xe])||(Ze=Xe);if(pt!=null||Ze!=null)if(Ne){let Vt=pt==null?-1/0:V(bt[pt],I,Fe,0),Jt=Ze==null?1/0:V(bt[Ze],I,Fe,0),wn=it-Vt,Lt=Jt-it;wn<=Lt?wn<=De&&(ve=pt):Lt<=De&&(ve=Ze)}else ve=Ze==null?pt:pt==null?Ze:ae-pt<=Ze-ae?pt:Ze}else Ne&&gn(it-V(bt[ae],I,Fe,0))>De&&(ve=null);return ve}}let Je=_=>{ue.event=_};ue.idxs=se,ue._lock=!1;let le=ue.points;le.show=_t(le.show),le.size=_t(le.size),le.stroke=_t(le.stroke),le.width=_t(le.width),le.fill=_t(le.fill);let Oe=n.focus=un({},i.focus||{alpha:.3},ue.focus),Ke=Oe.prox>=0,Ce=Ke&&le.one,at=[],Bt=[],zn=[];function Io(_,M){let P=le.show(n,M);if(P instanceof HTMLElement)return si(P,Yx),si(P,_.class),Xi(P,-10,-10,B,Re),g.insertBefore(P,at[M]),P}function yr(_,M){if(s==1||M>0){let P=s==1&&S[_.scale].time,D=_.value;_.value=P?Sm(D)?Cm($,Tm(D,H)):D||Q:D||av,_.label=_.label||(P?Qy:jy)}if(Ce||M>0){_.width=_.width==null?1:_.width,_.paths=_.paths||Sv||uy,_.fillTo=_t(_.fillTo||dv),_.pxAlign=+St(_.pxAlign,y),_.pxRound=Om(_.pxAlign),_.stroke=_t(_.stroke||null),_.fill=_t(_.fill||null),_._stroke=_._fill=_._paths=_._focus=null;let P=lv(Xn(1,_.width),1),D=_.points=un({},{size:P,width:Xn(1,P*.2),stroke:_.stroke,space:P*2,paths:bv,_stroke:null,_fill:null},_.points);D.show=_t(D.show),D.filter=_t(D.filter),D.fill=_t(D.fill),D.stroke=_t(D.stroke),D.paths=_t(D.paths),D.pxAlign=_.pxAlign}if(ee){let P=It(_,M);st.splice(M,0,P[0]),Ve.splice(M,0,P[1]),de.values.push(null)}if(me){se.splice(M,0,null);let P=null;Ce?M==0&&(P=Io(_,M)):M>0&&(P=Io(_,M)),at.splice(M,0,P),Bt.splice(M,0,0),zn.splice(M,0,0)}Mn("addSeries",M)}function hu(_,M){M=M??v.length,_=s==1?Zu(_,M,Pm,Um):Zu(_,M,{},Nm),v.splice(M,0,_),yr(v[M],M)}n.addSeries=hu;function Qa(_){if(v.splice(_,1),ee){de.values.splice(_,1),Ve.splice(_,1);let M=st.splice(_,1)[0];fn(null,M.firstChild),M.remove()}me&&(se.splice(_,1),at.splice(_,1)[0].remove(),Bt.splice(_,1),zn.splice(_,1)),Mn("delSeries",_)}n.delSeries=Qa;let Bi=[!1,!1,!1,!1];function is(_,M){if(_._show=_.show,_.show){let P=_.side%2,D=S[_.scale];D==null&&(_.scale=P?v[1].scale:E,D=S[_.scale]);let G=D.time;_.size=_t(_.size),_.space=_t(_.space),_.rotate=_t(_.rotate),Ds(_.incrs)&&_.incrs.forEach(ae=>{!Ns.has(ae)&&Ns.set(ae,Jm(ae))}),_.incrs=_t(_.incrs||(D.distr==2?Dy:G?p==1?Uy:By:er)),_.splits=_t(_.splits||(G&&D.distr==1?ce:D.distr==3?Xu:D.distr==4?nv:tv)),_.stroke=_t(_.stroke),_.grid.stroke=_t(_.grid.stroke),_.ticks.stroke=_t(_.ticks.stroke),_.border.stroke=_t(_.border.stroke);let J=_.values;_.values=Ds(J)&&!Ds(J[0])?_t(J):G?Ds(J)?Em($,Am(J,H)):Sm(J)?Vy($,J):J||K:J||ev,_.filter=_t(_.filter||(D.distr>=3&&D.log==10?rv:D.distr==3&&D.log==2?ov:$m)),_.font=Vm(_.font),_.labelFont=Vm(_.labelFont),_._size=_.size(n,null,M,0),_._space=_._rotate=_._incrs=_._found=_._splits=_._values=null,_._size>0&&(Bi[M]=!0,_._el=gi(Hx,d))}}function ss(_,M,P,D){let[G,J,ae,fe]=P,ve=M%2,De=0;return ve==0&&(fe||J)&&(De=M==0&&!G||M==2&&!ae?mn(Rm.size/3):0),ve==1&&(G||ae)&&(De=M==1&&!J||M==3&&!fe?mn(Lm.size/2):0),De}let Lo=n.padding=(i.padding||[ss,ss,ss,ss]).map(_=>_t(St(_,ss))),Si=n._padding=Lo.map((_,M)=>_(n,M,Bi,0)),$t,tn=null,nn=null,ki=s==1?v[0].idxs:null,Qn=null,Es=!1;function Do(_,M){if(e=_??[],n.data=n._data=e,s==2){$t=0;for(let P=1;P<v.length;P++)$t+=e[P][0].length}else{e.length==0&&(n.data=n._data=e=[[]]),Qn=e[0],$t=Qn.length;let P=e;if(k==2){P=e.slice();let D=P[0]=Array($t);for(let G=0;G<$t;G++)D[G]=G}n._data=e=P}if(ct(!0),Mn("setData"),k==2&&(ye=!0),M!==!1){let P=I;P.auto(n,Es)?No():Rs(E,P.min,P.max),te=te||ue.left>=0,pe=!0,Fn()}}n.setData=Do;function No(){Es=!0;let _,M;s==1&&($t>0?(tn=ki[0]=0,nn=ki[1]=$t-1,_=e[0][tn],M=e[0][nn],k==2?(_=tn,M=nn):_==M&&(k==3?[_,M]=Sl(_,_,I.log,!1):k==4?[_,M]=Qu(_,_,I.log,!1):I.time?M=_+mn(86400/p):[_,M]=xl(_,M,ed,!0))):(tn=ki[0]=_=null,nn=ki[1]=M=null)),Rs(E,_,M)}let vr,Ts,Sr,w,z,j,Y,Z,Ae,Ie;function Ee(_,M,P,D,G,J){_??(_=sm),P??(P=nd),D??(D="butt"),G??(G=sm),J??(J="round"),_!=vr&&(h.strokeStyle=vr=_),G!=Ts&&(h.fillStyle=Ts=G),M!=Sr&&(h.lineWidth=Sr=M),J!=z&&(h.lineJoin=z=J),D!=j&&(h.lineCap=j=D),P!=w&&h.setLineDash(w=P)}function Le(_,M,P,D){M!=Ts&&(h.fillStyle=Ts=M),_!=Y&&(h.font=Y=_),P!=Z&&(h.textAlign=Z=P),D!=Ae&&(h.textBaseline=Ae=D)}function ke(_,M,P,D,G=0){if(D.length>0&&_.auto(n,Es)&&(M==null||M.min==null)){let J=St(tn,0),ae=St(nn,D.length-1),fe=P.min==null?ry(D,J,ae,G,_.distr==3):[P.min,P.max];_.min=Ti(_.min,P.min=fe[0]),_.max=Xn(_.max,P.max=fe[1])}}let Qe={min:null,max:null};function dt(){for(let D in S){let G=S[D];W[D]==null&&(G.min==null||W[E]!=null&&G.auto(n,Es))&&(W[D]=Qe)}for(let D in S){let G=S[D];W[D]==null&&G.from!=null&&W[G.from]!=null&&(W[D]=Qe)}W[E]!=null&&ct(!0);let _={};for(let D in W){let G=W[D];if(G!=null){let J=_[D]=Vr(S[D],py);if(G.min!=null)un(J,G);else if(D!=E||s==2)if($t==0&&J.from==null){let ae=J.range(n,null,null,D);J.min=ae[0],J.max=ae[1]}else J.min=Ut,J.max=-Ut}}if($t>0){v.forEach((D,G)=>{if(s==1){let J=D.scale,ae=W[J];if(ae==null)return;let fe=_[J];if(G==0){let ve=fe.range(n,fe.min,fe.max,J);fe.min=ve[0],fe.max=ve[1],tn=Ei(fe.min,e[0]),nn=Ei(fe.max,e[0]),nn-tn>1&&(e[0][tn]<fe.min&&tn++,e[0][nn]>fe.max&&nn--),D.min=Qn[tn],D.max=Qn[nn]}else D.show&&D.auto&&ke(fe,ae,D,e[G],D.sorted);D.idxs[0]=tn,D.idxs[1]=nn}else if(G>0&&D.show&&D.auto){let[J,ae]=D.facets,fe=J.scale,ve=ae.scale,[De,Ne]=e[G],Fe=_[fe],it=_[ve];Fe!=null&&ke(Fe,W[fe],J,De,J.sorted),it!=null&&ke(it,W[ve],ae,Ne,ae.sorted),D.min=ae.min,D.max=ae.max}});for(let D in _){let G=_[D],J=W[D];if(G.from==null&&(J==null||J.min==null)){let ae=G.range(n,G.min==Ut?null:G.min,G.max==-Ut?null:G.max,D);G.min=ae[0],G.max=ae[1]}}}for(let D in _){let G=_[D];if(G.from!=null){let J=_[G.from];if(J.min==null)G.min=G.max=null;else{let ae=G.range(n,J.min,J.max,D);G.min=ae[0],G.max=ae[1]}}}let M={},P=!1;for(let D in _){let G=_[D],J=S[D];if(J.min!=G.min||J.max!=G.max){J.min=G.min,J.max=G.max;let ae=J.distr;J._min=ae==3?hs(J.min):ae==4?Fu(J.min,J.asinh):ae==100?J.fwd(J.min):J.min,J._max=ae==3?hs(J.max):ae==4?Fu(J.max,J.asinh):ae==100?J.fwd(J.max):J.max,M[D]=P=!0}}if(P){v.forEach((D,G)=>{s==2?G>0&&M.y&&(D._paths=null):M[D.scale]&&(D._paths=null)});for(let D in M)ye=!0,Mn("setScale",D);me&&ue.left>=0&&(te=pe=!0)}for(let D in W)W[D]=null}function Be(_){let M=Wu(tn-1,0,$t-1),P=Wu(nn+1,0,$t-1);for(;_[M]==null&&M>0;)M--;for(;_[P]==null&&P<$t-1;)P++;return[M,P]}function ft(){if($t>0){let _=v.some(M=>M._focus)&&Ie!=Oe.alpha;_&&(h.globalAlpha=Ie=Oe.alpha),v.forEach((M,P)=>{if(P>0&&M.show&&(qt(P,!1),qt(P,!0),M._paths==null)){let D=Ie;Ie!=M.alpha&&(h.globalAlpha=Ie=M.alpha);let G=s==2?[0,e[P][0].length-1]:Be(e[P]);M._paths=M.paths(n,P,G[0],G[1]),Ie!=D&&(h.globalAlpha=Ie=D)}}),v.forEach((M,P)=>{if(P>0&&M.show){let D=Ie;Ie!=M.alpha&&(h.globalAlpha=Ie=M.alpha),M._paths!=null&&Tt(P,!1);{let G=M._paths!=null?M._paths.gaps:null,J=M.points.show(n,P,tn,nn,G),ae=M.points.filter(n,P,J,G);(J||ae)&&(M.points._paths=M.points.paths(n,P,tn,nn,ae),Tt(P,!0))}Ie!=D&&(h.globalAlpha=Ie=D),Mn("drawSeries",P)}}),_&&(h.globalAlpha=Ie=1)}}function qt(_,M){let P=M?v[_].points:v[_];P._stroke=P.stroke(n,_),P._fill=P.fill(n,_)}function Tt(_,M){let P=M?v[_].points:v[_],{stroke:D,fill:G,clip:J,flags:ae,_stroke:fe=P._stroke,_fill:ve=P._fill,_width:De=P.width}=P._paths;De=Ft(De*Mt,3);let Ne=null,Fe=De%2/2;M&&ve==null&&(ve=De>0?"#fff":fe);let it=P.pxAlign==1&&Fe>0;if(it&&h.translate(Fe,Fe),!M){let bt=R-De/2,vt=b-De/2,pt=q+De,Ze=he+De;Ne=new Path2D,Ne.rect(bt,vt,pt,Ze)}M?Ue(fe,De,P.dash,P.cap,ve,D,G,ae,J):Ct(_,fe,De,P.dash,P.cap,ve,D,G,ae,Ne,J),it&&h.translate(-Fe,-Fe)}function Ct(_,M,P,D,G,J,ae,fe,ve,De,Ne){let Fe=!1;ve!=0&&C.forEach((it,bt)=>{if(it.series[0]==_){let vt=v[it.series[1]],pt=e[it.series[1]],Ze=(vt._paths||$o).band;Ds(Ze)&&(Ze=it.dir==1?Ze[0]:Ze[1]);let Xe,Vt=null;vt.show&&Ze&&ay(pt,tn,nn)?(Vt=it.fill(n,bt)||J,Xe=vt._paths.clip):Ze=null,Ue(M,P,D,G,Vt,ae,fe,ve,De,Ne,Xe,Ze),Fe=!0}}),Fe||Ue(M,P,D,G,J,ae,fe,ve,De,Ne)}let pn=Gr|Yu;function Ue(_,M,P,D,G,J,ae,fe,ve,De,Ne,Fe){Ee(_,M,P,D,G),(ve||De||Fe)&&(h.save(),ve&&h.clip(ve),De&&h.clip(De)),Fe?(fe&pn)==pn?(h.clip(Fe),Ne&&h.clip(Ne),gt(G,ae),an(_,J,M)):fe&Yu?(gt(G,ae),h.clip(Fe),an(_,J,M)):fe&Gr&&(h.save(),h.clip(Fe),Ne&&h.clip(Ne),gt(G,ae),h.restore(),an(_,J,M)):(gt(G,ae),an(_,J,M)),(ve||De||Fe)&&h.restore()}function an(_,M,P){P>0&&(M instanceof Map?M.forEach((D,G)=>{h.strokeStyle=vr=G,h.stroke(D)}):M!=null&&_&&h.stroke(M))}function gt(_,M){M instanceof Map?M.forEach((P,D)=>{h.fillStyle=Ts=D,h.fill(P)}):M!=null&&_&&h.fill(M)}function rs(_,M,P,D){let G=T[_],J;if(D<=0)J=[0,0];else{let ae=G._space=G.space(n,_,M,P,D),fe=G._incrs=G.incrs(n,_,M,P,D,ae);J=Cv(M,P,fe,D,ae)}return G._found=J}function ln(_,M,P,D,G,J,ae,fe,ve,De){let Ne=ae%2/2;y==1&&h.translate(Ne,Ne),Ee(fe,ae,ve,De,fe),h.beginPath();let Fe,it,bt,vt,pt=G+(D==0||D==3?-J:J);P==0?(it=G,vt=pt):(Fe=G,bt=pt);for(let Ze=0;Ze<_.length;Ze++)M[Ze]!=null&&(P==0?Fe=bt=_[Ze]:it=vt=_[Ze],h.moveTo(Fe,it),h.lineTo(bt,vt));h.stroke(),y==1&&h.translate(-Ne,-Ne)}function br(_){let M=!0;return T.forEach((P,D)=>{if(!P.show)return;let G=S[P.scale];if(G.min==null){P._show&&(M=!1,P._show=!1,ct(!1));return}else P._show||(M=!1,P._show=!0,ct(!1));let J=P.side,ae=J%2,{min:fe,max:ve}=G,[De,Ne]=rs(D,fe,ve,ae==0?B:Re);if(Ne==0)return;let Fe=G.distr==2,it=P._splits=P.splits(n,D,fe,ve,De,Ne,Fe),bt=G.distr==2?it.map(Xe=>Qn[Xe]):it,vt=G.distr==2?Qn[it[1]]-Qn[it[0]]:De,pt=P._values=P.values(n,P.filter(n,bt,D,Ne,vt),D,Ne,vt);P._rotate=J==2?P.rotate(n,pt,D,Ne):0;let Ze=P._size;P._size=_i(P.size(n,pt,D,_)),Ze!=null&&P._size!=Ze&&(M=!1)}),M}function zi(_){let M=!0;return Lo.forEach((P,D)=>{let G=P(n,D,Bi,_);G!=Si[D]&&(M=!1),Si[D]=G}),M}function os(){for(let _=0;_<T.length;_++){let M=T[_];if(!M.show||!M._show)continue;let P=M.side,D=P%2,G,J,ae=M.stroke(n,_),fe=P==0||P==3?-1:1,[ve,De]=M._found;if(M.label!=null){let Hn=M.labelGap*fe,ni=mn((M._lpos+Hn)*Mt);Le(M.labelFont[0],ae,"center",P==2?"top":im),h.save(),D==1?(G=J=0,h.translate(ni,mn(b+he/2)),h.rotate((P==3?-gl:gl)/2)):(G=mn(R+q/2),J=ni);let Ks=qm(M.label)?M.label(n,_,ve,De):M.label;h.fillText(Ks,G,J),h.restore()}if(De==0)continue;let Ne=S[M.scale],Fe=D==0?q:he,it=D==0?R:b,bt=M._splits,vt=Ne.distr==2?bt.map(Hn=>Qn[Hn]):bt,pt=Ne.distr==2?Qn[bt[1]]-Qn[bt[0]]:ve,Ze=M.ticks,Xe=M.border,Vt=Ze.show?Ze.size:0,Jt=mn(Vt*Mt),wn=mn((M.alignTo==2?M._size-Vt-M.gap:M.gap)*Mt),Lt=M._rotate*-gl/180,Kt=m(M._pos*Mt),ei=(Jt+wn)*fe,Gn=Kt+ei;J=D==0?Gn:0,G=D==1?Gn:0;let pi=M.font[0],bi=M.align==1?Fr:M.align==2?Du:Lt>0?Fr:Lt<0?Du:D==0?"center":P==3?Du:Fr,Hi=Lt||D==1?"middle":P==2?"top":im;Le(pi,ae,bi,Hi);let ti=M.font[1]*M.lineGap,mi=bt.map(Hn=>m(a(Hn,Ne,Fe,it))),Mi=M._values;for(let Hn=0;Hn<Mi.length;Hn++){let ni=Mi[Hn];if(ni!=null){D==0?G=mi[Hn]:J=mi[Hn],ni=""+ni;let Ks=ni.indexOf(`
`)==-1?[ni]:ni.split(/\n/gm);for(let Wn=0;Wn<Ks.length;Wn++){let yp=Ks[Wn];Lt?(h.save(),h.translate(G,J+Wn*ti),h.rotate(Lt),h.fillText(yp,0,0),h.restore()):h.fillText(yp,G,J+Wn*ti)}}}Ze.show&&ln(mi,Ze.filter(n,vt,_,De,pt),D,P,Kt,Jt,Ft(Ze.width*Mt,3),Ze.stroke(n,_),Ze.dash,Ze.cap);let Wi=M.grid;Wi.show&&ln(mi,Wi.filter(n,vt,_,De,pt),D,D==0?2:1,D==0?b:R,D==0?he:q,Ft(Wi.width*Mt,3),Wi.stroke(n,_),Wi.dash,Wi.cap),Xe.show&&ln([Kt],[1],D==0?1:0,D==0?1:2,D==1?b:R,D==1?he:q,Ft(Xe.width*Mt,3),Xe.stroke(n,_),Xe.dash,Xe.cap)}Mn("drawAxes")}function ct(_){v.forEach((M,P)=>{P>0&&(M._paths=null,_&&(s==1?(M.min=null,M.max=null):M.facets.forEach(D=>{D.min=null,D.max=null})))})}let Zt=!1,Vn=!1,Rt=[];function cn(){Vn=!1;for(let _=0;_<Rt.length;_++)Mn(...Rt[_]);Rt.length=0}function Fn(){Zt||(Sy(tp),Zt=!0)}function el(_,M=!1){Zt=!0,Vn=M,_(n),tp(),M&&Rt.length>0&&queueMicrotask(cn)}n.batch=el;function tp(){if(oe&&(dt(),oe=!1),ye&&(we(),ye=!1),_e){if(Gt(f,Fr,$e),Gt(f,"top",rt),Gt(f,Wo,B),Gt(f,Xo,Re),Gt(g,Fr,$e),Gt(g,"top",rt),Gt(g,Wo,B),Gt(g,Xo,Re),Gt(d,Wo,Yt),Gt(d,Xo,on),u.width=mn(Yt*Mt),u.height=mn(on*Mt),T.forEach(({_el:_,_show:M,_size:P,_pos:D,side:G})=>{if(_!=null)if(M){let J=G===3||G===0?P:0,ae=G%2==1;Gt(_,ae?"left":"top",D-J),Gt(_,ae?"width":"height",P),Gt(_,ae?"top":"left",ae?rt:$e),Gt(_,ae?"height":"width",ae?Re:B),Gu(_,tr)}else si(_,tr)}),vr=Ts=Sr=z=j=Y=Z=Ae=w=null,Ie=1,Oo(!0),$e!=Me||rt!=Nt||B!=ze||Re!=qe){ct(!1);let _=B/ze,M=Re/qe;if(me&&!te&&ue.left>=0){ue.left*=_,ue.top*=M,Mr&&Xi(Mr,mn(ue.left),0,B,Re),wr&&Xi(wr,0,mn(ue.top),B,Re);for(let P=0;P<at.length;P++){let D=at[P];D!=null&&(Bt[P]*=_,zn[P]*=M,Xi(D,_i(Bt[P]),_i(zn[P]),B,Re))}}if(zt.show&&!ie&&zt.left>=0&&zt.width>0){zt.left*=_,zt.width*=_,zt.top*=M,zt.height*=M;for(let P in gu)Gt(Tr,P,zt[P])}Me=$e,Nt=rt,ze=B,qe=Re}Mn("setSize"),_e=!1}Yt>0&&on>0&&(h.clearRect(0,0,u.width,u.height),Mn("drawClear"),A.forEach(_=>_()),Mn("draw")),zt.show&&ie&&(tl(zt),ie=!1),me&&te&&(Js(null,!0,!1),te=!1),de.show&&de.live&&pe&&(pu(),pe=!1),c||(c=!0,n.status=1,Mn("ready")),Es=!1,Zt=!1}n.redraw=(_,M)=>{ye=M||!1,_!==!1?Rs(E,I.min,I.max):Fn()};function uu(_,M){let P=S[_];if(P.from==null){if($t==0){let D=P.range(n,M.min,M.max,_);M.min=D[0],M.max=D[1]}if(M.min>M.max){let D=M.min;M.min=M.max,M.max=D}if($t>1&&M.min!=null&&M.max!=null&&M.max-M.min<1e-16)return;_==E&&P.distr==2&&$t>0&&(M.min=Ei(M.min,e[0]),M.max=Ei(M.max,e[0]),M.min==M.max&&M.max++),W[_]=M,oe=!0,Fn()}}n.setScale=uu;let du,fu,Mr,wr,np,ip,Ar,Er,sp,rp,kt,Xt,Cs=!1,Rn=ue.drag,Sn=Rn.x,bn=Rn.y;me&&(ue.x&&(du=gi(Xx,g)),ue.y&&(fu=gi(qx,g)),I.ori==0?(Mr=du,wr=fu):(Mr=fu,wr=du),kt=ue.left,Xt=ue.top);let zt=n.select=un({show:!0,over:!0,left:0,width:0,top:0,height:0},i.select),Tr=zt.show?gi(Wx,zt.over?g:f):null;function tl(_,M){if(zt.show){for(let P in _)zt[P]=_[P],P in gu&&Gt(Tr,P,_[P]);M!==!1&&Mn("setSelect")}}n.setSelect=tl;function ix(_){if(v[_].show)ee&&Gu(st[_],tr);else if(ee&&si(st[_],tr),me){let P=Ce?at[0]:at[_];P!=null&&Xi(P,-10,-10,B,Re)}}function Rs(_,M,P){uu(_,{min:M,max:P})}function Vi(_,M,P,D){M.focus!=null&&lx(_),M.show!=null&&v.forEach((G,J)=>{J>0&&(_==J||_==null)&&(G.show=M.show,ix(J),s==2?(Rs(G.facets[0].scale,null,null),Rs(G.facets[1].scale,null,null)):Rs(G.scale,null,null),Fn())}),P!==!1&&Mn("setSeries",_,M),D&&Bo("setSeries",n,_,M)}n.setSeries=Vi;function sx(_,M){un(C[_],M)}function rx(_,M){_.fill=_t(_.fill||null),_.dir=St(_.dir,-1),M=M??C.length,C.splice(M,0,_)}function ox(_){_==null?C.length=0:C.splice(_,1)}n.addBand=rx,n.setBand=sx,n.delBand=ox;function ax(_,M){v[_].alpha=M,me&&at[_]!=null&&(at[_].style.opacity=M),ee&&st[_]&&(st[_].style.opacity=M)}let as,Ps,Zs,Cr={focus:!0};function lx(_){if(_!=Zs){let M=_==null,P=Oe.alpha!=1;v.forEach((D,G)=>{if(s==1||G>0){let J=M||G==0||G==_;D._focus=M?null:J,P&&ax(G,J?1:Oe.alpha)}}),Zs=_,P&&Fn()}}ee&&Ke&&yt(am,Te,_=>{ue._lock||(Je(_),Zs!=null&&Vi(null,Cr,!0,hn.setSeries))});function Gi(_,M,P){let D=S[M];P&&(_=_/Mt-(D.ori==1?rt:$e));let G=B;D.ori==1&&(G=Re,_=G-_),D.dir==-1&&(_=G-_);let J=D._min,ae=D._max,fe=_/G,ve=J+(ae-J)*fe,De=D.distr;return De==3?kr(10,ve):De==4?cy(ve,D.asinh):De==100?D.bwd(ve):ve}function cx(_,M){let P=Gi(_,E,M);return Ei(P,e[0],tn,nn)}n.valToIdx=_=>Ei(_,e[0]),n.posToIdx=cx,n.posToVal=Gi,n.valToPos=(_,M,P)=>S[M].ori==0?r(_,S[M],P?q:B,P?R:0):o(_,S[M],P?he:Re,P?b:0),n.setCursor=(_,M,P)=>{kt=_.left,Xt=_.top,Js(null,M,P)};function op(_,M){Gt(Tr,Fr,zt.left=_),Gt(Tr,Wo,zt.width=M)}function ap(_,M){Gt(Tr,"top",zt.top=_),Gt(Tr,Xo,zt.height=M)}let Uo=I.ori==0?op:ap,Fo=I.ori==1?op:ap;function hx(){if(ee&&de.live)for(let _=s==2?1:0;_<v.length;_++){if(_==0&&lt)continue;let M=de.values[_],P=0;for(let D in M)Ve[_][P++].firstChild.nodeValue=M[D]}}function pu(_,M){if(_!=null&&(_.idxs?_.idxs.forEach((P,D)=>{se[D]=P}):fy(_.idx)||se.fill(_.idx),de.idx=se[0]),ee&&de.live){for(let P=0;P<v.length;P++)(P>0||s==1&&!lt)&&ux(P,se[P]);hx()}pe=!1,M!==!1&&Mn("setLegend")}n.setLegend=pu;function ux(_,M){let P=v[_],D=_==0&&k==2?Qn:e[_],G;lt?G=P.values(n,_,M)??nt:(G=P.value(n,M==null?null:D[M],_,M),G=G==null?nt:{_:G}),de.values[_]=G}function Js(_,M,P){sp=kt,rp=Xt,[kt,Xt]=ue.move(n,kt,Xt),ue.left=kt,ue.top=Xt,me&&(Mr&&Xi(Mr,mn(kt),0,B,Re),wr&&Xi(wr,0,mn(Xt),B,Re));let D,G=tn>nn;as=Ut,Ps=null;let J=I.ori==0?B:Re,ae=I.ori==1?B:Re;if(kt<0||$t==0||G){D=ue.idx=null;for(let fe=0;fe<v.length;fe++){let ve=at[fe];ve!=null&&Xi(ve,-10,-10,B,Re)}Ke&&Vi(null,Cr,!0,_==null&&hn.setSeries),de.live&&(se.fill(D),pe=!0)}else{let fe,ve,De;s==1&&(fe=I.ori==0?kt:Xt,ve=Gi(fe,E),D=ue.idx=Ei(ve,e[0],tn,nn),De=V(e[0][D],I,J,0));let Ne=-10,Fe=-10,it=0,bt=0,vt=!0,pt="",Ze="";for(let Xe=s==2?1:0;Xe<v.length;Xe++){let Vt=v[Xe],Jt=se[Xe],wn=Jt==null?null:s==1?e[Xe][Jt]:e[Xe][1][Jt],Lt=ue.dataIdx(n,Xe,D,ve),Kt=Lt==null?null:s==1?e[Xe][Lt]:e[Xe][1][Lt];if(pe=pe||Kt!=wn||Lt!=Jt,se[Xe]=Lt,Xe>0&&Vt.show){let ei=Lt==null?-10:Lt==D?De:V(s==1?e[0][Lt]:e[Xe][0][Lt],I,J,0),Gn=Kt==null?-10:N(Kt,s==1?S[Vt.scale]:S[Vt.facets[1].scale],ae,0);if(Ke&&Kt!=null){let pi=I.ori==1?kt:Xt,bi=gn(Oe.dist(n,Xe,Lt,Gn,pi));if(bi<as){let Hi=Oe.bias;if(Hi!=0){let ti=Gi(pi,Vt.scale),mi=Kt>=0?1:-1,Mi=ti>=0?1:-1;Mi==mi&&(Mi==1?Hi==1?Kt>=ti:Kt<=ti:Hi==1?Kt<=ti:Kt>=ti)&&(as=bi,Ps=Xe)}else as=bi,Ps=Xe}}if(pe||Ce){let pi,bi;I.ori==0?(pi=ei,bi=Gn):(pi=Gn,bi=ei);let Hi,ti,mi,Mi,Wi,Hn,ni=!0,Ks=le.bbox;if(Ks!=null){ni=!1;let Wn=Ks(n,Xe);mi=Wn.left,Mi=Wn.top,Hi=Wn.width,ti=Wn.height}else mi=pi,Mi=bi,Hi=ti=le.size(n,Xe);if(Hn=le.fill(n,Xe),Wi=le.stroke(n,Xe),Ce)Xe==Ps&&as<=Oe.prox&&(Ne=mi,Fe=Mi,it=Hi,bt=ti,vt=ni,pt=Hn,Ze=Wi);else{let Wn=at[Xe];Wn!=null&&(Bt[Xe]=mi,zn[Xe]=Mi,pm(Wn,Hi,ti,ni),dm(Wn,Hn,Wi),Xi(Wn,_i(mi),_i(Mi),B,Re))}}}}if(Ce){let Xe=Oe.prox,Vt=Zs==null?as<=Xe:as>Xe||Ps!=Zs;if(pe||Vt){let Jt=at[0];Jt!=null&&(Bt[0]=Ne,zn[0]=Fe,pm(Jt,it,bt,vt),dm(Jt,pt,Ze),Xi(Jt,_i(Ne),_i(Fe),B,Re))}}}if(zt.show&&Cs)if(_!=null){let[fe,ve]=hn.scales,[De,Ne]=hn.match,[Fe,it]=_.cursor.sync.scales,bt=_.cursor.drag;if(Sn=bt._x,bn=bt._y,Sn||bn){let{left:vt,top:pt,width:Ze,height:Xe}=_.select,Vt=_.scales[Fe].ori,Jt=_.posToVal,wn,Lt,Kt,ei,Gn,pi=fe!=null&&De(fe,Fe),bi=ve!=null&&Ne(ve,it);pi&&Sn?(Vt==0?(wn=vt,Lt=Ze):(wn=pt,Lt=Xe),Kt=S[fe],ei=V(Jt(wn,Fe),Kt,J,0),Gn=V(Jt(wn+Lt,Fe),Kt,J,0),Uo(Ti(ei,Gn),gn(Gn-ei))):Uo(0,J),bi&&bn?(Vt==1?(wn=vt,Lt=Ze):(wn=pt,Lt=Xe),Kt=S[ve],ei=N(Jt(wn,it),Kt,ae,0),Gn=N(Jt(wn+Lt,it),Kt,ae,0),Fo(Ti(ei,Gn),gn(Gn-ei))):Fo(0,ae)}else _u()}else{let fe=gn(sp-np),ve=gn(rp-ip);if(I.ori==1){let it=fe;fe=ve,ve=it}Sn=Rn.x&&fe>=Rn.dist,bn=Rn.y&&ve>=Rn.dist;let De=Rn.uni;De!=null?Sn&&bn&&(Sn=fe>=De,bn=ve>=De,!Sn&&!bn&&(ve>fe?bn=!0:Sn=!0)):Rn.x&&Rn.y&&(Sn||bn)&&(Sn=bn=!0);let Ne,Fe;Sn&&(I.ori==0?(Ne=Ar,Fe=kt):(Ne=Er,Fe=Xt),Uo(Ti(Ne,Fe),gn(Fe-Ne)),bn||Fo(0,ae)),bn&&(I.ori==1?(Ne=Ar,Fe=kt):(Ne=Er,Fe=Xt),Fo(Ti(Ne,Fe),gn(Fe-Ne)),Sn||Uo(0,J)),!Sn&&!bn&&(Uo(0,0),Fo(0,0))}if(Rn._x=Sn,Rn._y=bn,_==null){if(P){if(xp!=null){let[fe,ve]=hn.scales;hn.values[0]=fe!=null?Gi(I.ori==0?kt:Xt,fe):null,hn.values[1]=ve!=null?Gi(I.ori==1?kt:Xt,ve):null}Bo(Nu,n,kt,Xt,B,Re,D)}if(Ke){let fe=P&&hn.setSeries,ve=Oe.prox;Zs==null?as<=ve&&Vi(Ps,Cr,!0,fe):as>ve?Vi(null,Cr,!0,fe):Ps!=Zs&&Vi(Ps,Cr,!0,fe)}}pe&&(de.idx=D,pu()),M!==!1&&Mn("setCursor")}let Is=null;Object.defineProperty(n,"rect",{get(){return Is==null&&Oo(!1),Is}});function Oo(_=!1){_?Is=null:(Is=g.getBoundingClientRect(),Mn("syncRect",Is))}function lp(_,M,P,D,G,J,ae){ue._lock||Cs&&_!=null&&_.movementX==0&&_.movementY==0||(mu(_,M,P,D,G,J,ae,!1,_!=null),_!=null?Js(null,!0,!0):Js(M,!0,!1))}function mu(_,M,P,D,G,J,ae,fe,ve){if(Is==null&&Oo(!1),Je(_),_!=null)P=_.clientX-Is.left,D=_.clientY-Is.top;else{if(P<0||D<0){kt=-10,Xt=-10;return}let[De,Ne]=hn.scales,Fe=M.cursor.sync,[it,bt]=Fe.values,[vt,pt]=Fe.scales,[Ze,Xe]=hn.match,Vt=M.axes[0].side%2==1,Jt=I.ori==0?B:Re,wn=I.ori==1?B:Re,Lt=Vt?J:G,Kt=Vt?G:J,ei=Vt?D:P,Gn=Vt?P:D;if(vt!=null?P=Ze(De,vt)?a(it,S[De],Jt,0):-10:P=Jt*(ei/Lt),pt!=null?D=Xe(Ne,pt)?a(bt,S[Ne],wn,0):-10:D=wn*(Gn/Kt),I.ori==1){let pi=P;P=D,D=pi}}ve&&(M==null||M.cursor.event.type==Nu)&&((P<=1||P>=B-1)&&(P=Qs(P,B)),(D<=1||D>=Re-1)&&(D=Qs(D,Re))),fe?(np=P,ip=D,[Ar,Er]=ue.move(n,P,D)):(kt=P,Xt=D)}let gu={width:0,height:0,left:0,top:0};function _u(){tl(gu,!1)}let cp,hp,up,dp;function fp(_,M,P,D,G,J,ae){Cs=!0,Sn=bn=Rn._x=Rn._y=!1,mu(_,M,P,D,G,J,ae,!0,!1),_!=null&&(yt(Uu,zu,pp,!1),Bo(rm,n,Ar,Er,B,Re,null));let{left:fe,top:ve,width:De,height:Ne}=zt;cp=fe,hp=ve,up=De,dp=Ne}function pp(_,M,P,D,G,J,ae){Cs=Rn._x=Rn._y=!1,mu(_,M,P,D,G,J,ae,!1,!0);let{left:fe,top:ve,width:De,height:Ne}=zt,Fe=De>0||Ne>0,it=cp!=fe||hp!=ve||up!=De||dp!=Ne;if(Fe&&it&&tl(zt),Rn.setScale&&Fe&&it){let bt=fe,vt=De,pt=ve,Ze=Ne;if(I.ori==1&&(bt=ve,vt=Ne,pt=fe,Ze=De),Sn&&Rs(E,Gi(bt,E),Gi(bt+vt,E)),bn)for(let Xe in S){let Vt=S[Xe];Xe!=E&&Vt.from==null&&Vt.min!=Ut&&Rs(Xe,Gi(pt+Ze,Xe),Gi(pt,Xe))}_u()}else ue.lock&&(ue._lock=!ue._lock,Js(M,!0,_!=null));_!=null&&(fn(Uu,zu),Bo(Uu,n,kt,Xt,B,Re,null))}function dx(_,M,P,D,G,J,ae){if(ue._lock)return;Je(_);let fe=Cs;if(Cs){let ve=!0,De=!0,Ne=10,Fe,it;I.ori==0?(Fe=Sn,it=bn):(Fe=bn,it=Sn),Fe&&it&&(ve=kt<=Ne||kt>=B-Ne,De=Xt<=Ne||Xt>=Re-Ne),Fe&&ve&&(kt=kt<Ar?0:B),it&&De&&(Xt=Xt<Er?0:Re),Js(null,!0,!0),Cs=!1}kt=-10,Xt=-10,se.fill(null),Js(null,!0,!0),fe&&(Cs=fe)}function mp(_,M,P,D,G,J,ae){ue._lock||(Je(_),No(),_u(),_!=null&&Bo(lm,n,kt,Xt,B,Re,null))}function gp(){T.forEach(Rv),O(n.width,n.height,!0)}nr(_l,Br,gp);let Rr={};Rr.mousedown=fp,Rr.mousemove=lp,Rr.mouseup=pp,Rr.dblclick=mp,Rr.setSeries=(_,M,P,D)=>{let G=hn.match[2];P=G(n,M,P),P!=-1&&Vi(P,D,!0,!1)},me&&(yt(rm,g,fp),yt(Nu,g,lp),yt(om,g,_=>{Je(_),Oo(!1)}),yt(am,g,dx),yt(lm,g,mp),$u.add(n),n.syncRect=Oo);let nl=n.hooks=i.hooks||{};function Mn(_,M,P){Vn?Rt.push([_,M,P]):_ in nl&&nl[_].forEach(D=>{D.call(null,n,M,P)})}(i.plugins||[]).forEach(_=>{for(let M in _.hooks)nl[M]=(nl[M]||[]).concat(_.hooks[M])});let _p=(_,M,P)=>P,hn=un({key:null,setSeries:!1,filters:{pub:ym,sub:ym},scales:[E,v[1]?v[1].scale:null],match:[vm,vm,_p],values:[null,null]},ue.sync);hn.match.length==2&&hn.match.push(_p),ue.sync=hn;let xp=hn.key,xu=gg(xp);function Bo(_,M,P,D,G,J,ae){hn.filters.pub(_,M,P,D,G,J,ae)&&xu.pub(_,M,P,D,G,J,ae)}xu.sub(n);function fx(_,M,P,D,G,J,ae){hn.filters.sub(_,M,P,D,G,J,ae)&&Rr[_](null,M,P,D,G,J,ae)}n.pub=fx;function px(){xu.unsub(n),$u.delete(n),vn.clear(),Hu(_l,Br,gp),l.remove(),Te?.remove(),Mn("destroy")}n.destroy=px;function yu(){Mn("init",i,e),Do(e||i.data,!1),W[E]?uu(E,W[E]):No(),ie=zt.show&&(zt.width>0||zt.height>0),te=pe=!0,O(i.width,i.height)}return v.forEach(yr),T.forEach(is),t?t instanceof HTMLElement?(t.appendChild(l),yu()):t(n,yu):yu(),n}An.assign=un;An.fmtNum=td;An.rangeNum=xl;An.rangeLog=Sl;An.rangeAsinh=Qu;An.orient=sr;An.pxRatio=Mt;An.join=vy;An.fmtDate=id,An.tzDate=Iy;An.sync=gg;{An.addGap=fv,An.clipGaps=wl;let i=An.paths={points:bg};i.linear=wg,i.stepped=gv,i.bars=_v,i.spline=yv}var Cg=220,Pv=7,rr=.7,Rg=142,Pg=64,Cl=class{constructor(e,t){this.desk=e;this.host=t;this.plots=[];this.width=1;this.shown=[];let n=()=>cs()?25.4:1,{player:s}=e;this.curves=[{title:"Spindle face Z",unit:()=>cs()?"in":"mm",value:(r,o)=>r.positionAt(o)[2]/n(),places:3,least:.02},{title:"Speed",unit:()=>cs()?"in/min":"mm/min",value:(r,o)=>r.speedAt(o)*60/n(),places:0,least:4},{title:"Pad travel",unit:()=>cs()?"in":"mm",value:(r,o)=>Math.max(0,...r.setters.map(a=>r.padDepthAt(a,o)))/n(),places:3,least:.02,more:Iv}],this.lanes=Dv(s),this.build(),new ResizeObserver(()=>this.resize()).observe(t)}build(){let e=["#0b62a4","#a86200"],t=this.desk.player.replays.length,n=r=>Array.from({length:t},(o,a)=>({stroke:e[a],width:2.5,dash:a?[7,5]:void 0,points:{show:!1},paths:r?An.paths.stepped({align:1}):void 0}));this.curves.forEach(r=>this.add(r.title,[{},...n(!1)],null,r.least??0));let s=this.lanes.flatMap(()=>n(!0));this.lanes.length&&this.add("Signals",[{},...s],this.lanes),this.resize()}add(e,t,n,s=0){let r=document.createElement("div");r.className="plot";let o=document.createElement("div");o.className="plot-head",r.append(o),this.host.append(r),this.shown.push(o),o.textContent=n?"":e;let a=n!==null,c={stroke:"#dde3e9",width:1},l="13px system-ui, sans-serif",u=new An({width:300,height:60,legend:{show:!1},padding:n?[4,Pg,0,0]:[6,0,4,Rg],cursor:{sync:{key:"time"},y:!1,drag:{x:!1,y:!1},points:{show:!1}},scales:{x:{time:!1,range:()=>[-rr*this.width,(1-rr)*this.width]},y:n?{range:[-.2,n.length*1.5]}:{range:(h,d,f)=>Lv(d,f,s)}},axes:[{size:a?24:0,show:a,font:l,gap:2,stroke:"#4a5765",grid:c,ticks:{...c,size:4},values:(h,d)=>d.map(f=>this.when(f))},n?{size:Rg,font:l,stroke:"#16202b",grid:{show:!1},ticks:{show:!1},splits:()=>n.map((h,d)=>(n.length-1-d)*1.5+.5),values:()=>n.map(h=>h.name)}:{side:1,size:Pg,font:l,stroke:"#4a5765",grid:c,ticks:c,space:24,values:(h,d)=>d.map(f=>String(Number(f.toPrecision(7))))}],series:t,hooks:{draw:[h=>this.drawNow(h)]}},[[0]],r);u.over.addEventListener("click",h=>{let d=u.posToVal(h.offsetX,"x");this.desk.picked=null,this.desk.player.seek(this.desk.player.t+d)}),this.plots.push(u)}when(e){if(Math.abs(e)<this.width*1e-6)return"now";let t=e>0?"+":"\u2212",n=Math.abs(e);return this.width<1.5?`${t}${Number((n*1e3).toPrecision(4))} ms`:`${t}${Number(n.toPrecision(3))} s`}drawNow(e){let t=e.valToPos(0,"x",!0);e.ctx.save(),e.ctx.strokeStyle="#b0006d",e.ctx.lineWidth=2*devicePixelRatio,e.ctx.beginPath(),e.ctx.moveTo(t,e.bbox.top),e.ctx.lineTo(t,e.bbox.top+e.bbox.height),e.ctx.stroke(),e.ctx.restore()}resize(){let[e,t]=[this.host.clientWidth,this.host.clientHeight];if(e<50||t<50)return;let n=this.lanes.length?Math.max(60,this.lanes.length*17+34):0,s=(t-n)/this.curves.length;this.plots.forEach((r,o)=>r.setSize({width:e,height:Math.floor(o<this.curves.length?s:n)}))}draw(e){let{player:t}=this.desk,n=Math.max(Pv*t.rateAt(t.t),.004),s=e<=0||!t.playing?1:1-Math.exp(-e/.35);this.width*=(n/this.width)**s;let r=t.hiddenFrom,o=Array.from({length:Cg+1},(a,c)=>(c/Cg-rr)*this.width);this.curves.forEach((a,c)=>{let l=t.replays.map((h,d)=>o.map(f=>{let g=t.t+f+t.shift(d);return g<0||g>h.duration||t.t+f>r&&f>0?null:a.value(h,g)}));this.plots[c].setData([o,...l]);let u=t.replays.map((h,d)=>{let f=t.timeOf(d),g=a.value(h,f).toFixed(a.places+(cs()&&a.places?1:0));return t.replays.length>1?`${d?"B \u254C":"A \u2501"} ${g} ${a.unit()}`:[`${g} ${a.unit()}`,a.more?.(h,f)].filter(Boolean).join(", ")});this.tell(this.shown[c],a.title,u)}),this.lanes.length&&this.drawLanes(r)}tell(e,t,n){let s=n.join("|");if(e.dataset.text===s)return;e.dataset.text=s;let r=n.map(o=>{let a=document.createElement("b");return a.textContent=o.replace(/ (?=[a-zN])/g,"\xA0"),a});e.replaceChildren(t,...r)}drawLanes(e){let{player:t}=this.desk,n=new Set([-rr*this.width,(1-rr)*this.width,0]);this.lanes.forEach(o=>t.replays.forEach((a,c)=>{for(let[l]of a.edgesOf(o.signal)){let u=l-t.shift(c)-t.t;u>-rr*this.width&&u<(1-rr)*this.width&&n.add(u)}}));let s=[...n].sort((o,a)=>o-a),r=this.lanes.flatMap((o,a)=>t.replays.map((c,l)=>s.map(u=>{if(t.t+u>e&&u>0)return null;let h=c.signalAt(o.signal,t.t+u+t.shift(l))??0;return(this.lanes.length-1-a)*1.5+h+l*.06})));this.plots[this.plots.length-1].setData([s,...r])}};function Iv(i,e){let t=i.setters.map(s=>{let[r,o]=[i.padDepthAt(s,e),i.entry.facts.setters[s]];return r>0&&o?.rate_N_per_mm?(o.preload_N??0)+o.rate_N_per_mm*r:0}),n=Math.max(0,...t);return n>0?`${n.toFixed(1)} N`:""}function Lv(i,e,t){if(i===null||e===null||!Number.isFinite(i))return[0,1];e=Math.max(e,i+t);let n=Math.max((e-i)*.12,Math.abs(e)*1e-6,1e-4);return[i-n,e+n]}function Dv(i){let e=new Set,t=new Set;for(let s of i.replays){for(let r of s.signals)e.add(r.replace(/\.\w+$/,""));for(let[r,o]of Object.entries(s.entry.facts.start))/^setter .* input$/.test(r)&&t.add(`input ${o}`)}let n=[];for(let s of[...new Set([...t,...e])].slice(0,2)){let r=t.size&&!t.has(s)?" (unwatched)":"";n.push({name:`${s}${r}`,signal:`${s}.raw`}),r||n.push({name:"filtered",signal:`${s}.filtered`},{name:"controller sees",signal:`${s}.seen`})}return n}var or=205,Rl=140,Ig=120;function Lg({replay:i,press:e,t,known:n}){let s=e.marks.filter(S=>S.t<=Math.max(n,t)&&!(S.never&&S.t>t)),r=Math.max(e.rest-e.contact,1e-6),o=e.contact-.12*r,a=e.rest+.15*r,c=Math.max(...e.marks.map(S=>S.depth),i.padDepthAt(e.setter,e.rest),1e-4)*1.15,l=S=>6+(S-o)/(a-o)*(or-12),u=S=>16+S/c*(Rl-36),h=i.padDepthAt(e.setter,t),d=Math.min(Math.max(t,o),a),f=S=>Array.from({length:Ig+1},(C,E)=>o+(S-o)*E/Ig).map((C,E)=>`${E?"L":"M"}${l(C).toFixed(1)} ${u(i.padDepthAt(e.setter,C)).toFixed(1)}`).join(""),g=e.limit!==null&&e.preTravel!==null?e.limit-e.preTravel:null,y=e.preTravel!==null?Math.max(h-e.preTravel,0):0,m=g===null?null:Math.max(g-y,0),p=i.entry.facts.setters[e.setter],v=p?.rate_N_per_mm!==void 0&&h>0?(p.preload_N??0)+p.rate_N_per_mm*h:null,T=r<.5?`${ii((t-e.contact)*1e3,1)} ms`:`${ii(t-e.contact,2)} s`;return X("section",{class:"strip","aria-label":"The touch, enlarged",children:[X("div",{class:"strip-head",children:[X("b",{children:["Pad travel ",Nr(h)]}),X("span",{children:t<e.contact?"not yet touched":`${T} after the touch`}),v!==null&&X("span",{children:[ii(v,1)," N"]})]}),X("div",{class:"strip-body",children:[X("svg",{viewBox:`0 0 ${or} ${Rl}`,width:or,height:Rl,"aria-hidden":"true",children:[X("line",{x1:"6",x2:or-6,y1:u(0),y2:u(0),class:"zero"}),X("text",{x:"8",y:u(0)-4,class:"tiny",children:"pad free"}),e.preTravel!==null&&e.preTravel<c&&X("g",{children:[X("line",{x1:"6",x2:or-6,y1:u(e.preTravel),y2:u(e.preTravel),class:"trip"}),X("text",{x:or-8,y:u(e.preTravel)-4,class:"tiny end",children:["trip, ",Nr(e.preTravel)]})]}),e.limit!==null&&e.limit<c&&X("g",{children:[X("line",{x1:"6",x2:or-6,y1:u(e.limit),y2:u(e.limit),class:"solid"}),X("text",{x:"8",y:u(e.limit)+13,class:"tiny",children:"pad is solid"})]}),X("path",{d:f(d),class:"travel"}),s.filter(S=>!S.never).map(S=>X("g",{class:S.t<=t+1e-12?"mark past":"mark",children:[X("line",{x1:l(S.t),x2:l(S.t),y1:u(0),y2:Rl-6}),S.t<=t+1e-12&&X("circle",{cx:l(S.t),cy:u(S.depth),r:"4"})]},S.name)),X("circle",{cx:l(d),cy:u(h),r:"6",class:"now"})]}),X("ol",{class:"marks",children:s.map(S=>X("li",{class:S.t<=t+1e-12?"past":"",children:[X("span",{children:[S.never?"\u2717":S.t<=t+1e-12?"\u25CF":"\u25CB"," ",S.name]}),X("span",{class:"figure",children:S.never?"never":S.t<=t+1e-12?Nr(S.depth):""})]},S.name))})]}),m!==null&&g!==null&&X("div",{class:"budget",role:"img","aria-label":`Overtravel budget left: ${Nr(m)}`,children:[X("span",{children:"Overtravel left"}),X("span",{class:"tank",children:X("span",{class:"fill",style:{width:`${100*m/g}%`}})}),X("b",{children:m<=1e-6?"none":Nr(m)})]})]})}var Nv={xy:[0,1,2],zx:[2,0,1],yz:[1,2,0]};function qr(i,e,t){let n=0,s=i;for(;n<s;){let r=n+s>>1;e(r)<=t?n=r+1:s=r}return n-1}function Dg(i,e){if(i.pieces.length===0)return null;let t=qr(i.pieces.length,n=>i.pieces[n][0],e);return i.pieces[Math.max(t,0)]}function Ng(i,e){let[t,n,s,r,o,a,c]=i;if(e>=n)return c;if(e<=t)return s;let l=e-t,u=s+l*(r+l*(.5*o+l*a/6));return Math.min(Math.max(u,Math.min(s,c)),Math.max(s,c))}function Uv(i,e){let t=Math.max(e-i[0],0);return i[3]+t*(i[4]+t*i[5]/2)}function hd(i,e){let t=Dg(i,e);return t===null?0:Ng(t,e)}function ud(i,e){let t=Math.max(hd(i,e-i.delay_s)-i.dead_mm,0);return i.block_mm===null?t:Math.min(t,i.block_mm)}function Ug(i,e){let t=e-i.delay_s,n=Dg(i,t);if(n===null||t<n[0]||t>n[1])return 0;let s=Ng(n,t)-i.dead_mm;return s<0||i.block_mm!==null&&s>i.block_mm?0:Math.abs(Uv(n,t))}function dd(i,e,t){let[n,s,r]=e;if(i.arc===null){let[m,p,v]=i.direction;return[n+m*t,s+p*t,r+v*t]}let[,o,a,c,l]=i.arc,[u,h,d]=Nv[l],f=Math.min(Math.max(i.direction[d],-1),1),g=a+(c<0?-1:1)*t*Math.sqrt(1-f*f)/o,y=[n,s,r];return y[u]+=o*(Math.cos(g)-Math.cos(a)),y[h]+=o*(Math.sin(g)-Math.sin(a)),y[d]+=f*t,y}var Pl=class{constructor(e){this.entry=e;this.edgesBySignal=new Map;this.data=e.recording,this.byId=new Map(this.data.lines.map(t=>[t.id,t])),this.setters=[...new Set(this.data.pads.map(t=>t[0]))].sort();for(let[t,n,s]of this.data.edges){let r=this.edgesBySignal.get(n);r?r.push([t,s]):this.edgesBySignal.set(n,[[t,s]])}}get duration(){return this.data.duration_s}get signals(){return[...this.edgesBySignal.keys()]}lineAt(e){let t=this.data.lines,n=qr(t.length,s=>t[s].t[0],e);return n<0?null:t[n]}positionAt(e){let t=this.lineAt(e);return t?dd(t,t.start,ud(t,Math.min(e,t.t[1]))):this.data.lines.length?this.data.lines[0].start:this.data.start}commandAt(e){let t=this.lineAt(e);return t?dd(t,t.command_start,hd(t,Math.min(e,t.t[1]))):this.data.lines.length?this.data.lines[0].command_start:this.data.start}get links(){return this.data.links}get facts(){return this.entry.facts}offAt(e){let t=this.lineAt(e);return t&&this.speedAt(e)!==0?Fg(t.command_start,t.start):Fg(this.commandAt(e),this.positionAt(e))}speedAt(e){let t=this.lineAt(e);return t&&e<=t.t[1]?Ug(t,e):0}padDepthAt(e,t){let n=this.data.pads,s=qr(n.length,d=>n[d][1],t);for(;s>=0&&n[s][0]!==e;)s-=1;if(s<0)return 0;let[,,r,o,a,c,l]=n[s],u=this.byId.get(r),h=a;return u&&(h+=c*(ud(u,Math.min(t,u.t[1]))-o)),Math.min(Math.max(h,0),l??1/0)}padLimitOf(e){let t=this.data.pads.filter(n=>n[0]===e);return t.length?t[t.length-1][6]:null}bodiesAt(e,t){let n=new Map;for(let[s,,r,o]of this.data.scene){if(s>e)break;o===null?n.delete(r):n.set(r,{id:r,...this.placed(o,t)})}return n}placed(e,t){let n=this.data.links[e.link],s=e.offset,r=[s[0]+n[0]*t[0],s[1]+n[1]*t[1],s[2]+n[2]*t[2]];return{geometry:e.geometry,position:r,offset:s,turn_deg:e.turn_deg,link:e.link}}geometryOf(e){return this.data.geometry[e.geometry]}spindleAt(e){let t=this.data.spindle,n=qr(t.length,o=>t[o][0],e);if(n<0)return[0,0];let[s,,r]=t[n];return[r*2*Math.PI/60*(e-s),r]}signalAt(e,t){let n=this.edgesBySignal.get(e)??[],s=qr(n.length,r=>n[r][0],t);return s<0?null:n[s][1]}edgesOf(e){return this.edgesBySignal.get(e)??[]}beliefsAt(e){let t={...this.entry.facts.start};for(let[n,s,r]of this.data.beliefs){if(n>e)break;t[s]=r}return t}plugsAt(e){let t={...this.entry.facts.plugs};for(let[n,s,r]of this.data.events){if(n>e)break;s==="plug"&&Array.isArray(r)&&(t[r[0]]=r[1])}return t}};function Fg(i,e){return[i[0]-e[0],i[1]-e[1],i[2]-e[2]]}var Fv=6,Ov=1.5,Bv=3,kv=2.5,zv=1/1e3,Jo=[1,1/2,1/5,1/10,1/20,1/50,1/100,1/200,1/500,1/1e3],Il=class{constructor(e){this.page=e;this.playing=!1;this.rate=1;this.slows=!0;this.asked=null;this.zones=[];this.listeners=new Set;this.replays=e.entries.map(s=>new Pl(s)),this.presses=this.replays.map(em);let t=this.replays.map((s,r)=>this.shift(r));this.start=Math.min(...t.map(s=>-s)),this.end=Math.max(...this.replays.map((s,r)=>s.duration-t[r])),this.t=this.start,this.questions=e.questions.map(s=>({...s,chosen:-1})),this.questions.sort((s,r)=>s.t-r.t);let n=s=>this.replays.length>1?`${"AB"[s]}: `:"";this.moments=this.replays.flatMap((s,r)=>Qp(s).map(o=>({...o,t:o.t-t[r],text:n(r)+o.text}))).sort((s,r)=>s.t-r.t),this.replays.forEach((s,r)=>this.addZones(s,r))}shift(e){return this.page.zero_s[e]-this.page.zero_s[0]}timeOf(e){return Math.min(Math.max(this.t+this.shift(e),0),this.replays[e].duration)}addZones(e,t){let n=this.shift(t),s=e.entry.findings.map(r=>r.t);this.presses[t].forEach((r,o)=>{let a=o<2||s.some(h=>h>=r.contact&&h<=r.end),c=this.presses[t].length>Bv,l=a&&!(c&&o>1&&s.length>6)?Fv:Ov,u=Math.min(Math.max((r.rest-r.contact)/l,zv),1);this.zones.push({from:r.contact-n,to:r.rest-n,rate:u})});for(let r of s)!this.zones.some(a=>r-n>=a.from&&r-n<=a.to)&&e.speedAt(r)>.5&&this.zones.push({from:r-n-.03,to:r-n+.03,rate:.03})}rateAt(e){let t=this.rate;if(this.slows)for(let n of this.zones){let s=Math.max(n.from-e,e-n.to,0);t=Math.min(t,n.rate+kv*s)}return t}tick(e){if(!this.playing)return!1;let t=Math.min(e,.1);for(;t>0;){let n=Math.min(t,.01),s=this.t+this.rateAt(this.t)*n,r=this.questions.find(o=>o.chosen<0&&o.t>this.t-1e-12&&o.t<=s);if(r){this.t=r.t,this.asked=r,this.playing=!1;break}this.t=s,t-=n}return this.t>=this.end&&(this.t=this.end,this.playing=!1),this.changed(),!0}play(e=!this.playing){this.asked&&this.asked.chosen<0||(e&&this.t>=this.end&&(this.t=this.start),this.asked=null,this.playing=e,this.changed())}seek(e){this.t=Math.min(Math.max(e,this.start),this.end),this.asked=null,this.changed()}answer(e){!this.asked||this.asked.chosen>=0||(this.asked.chosen=e,this.changed())}goOn(){this.asked&&this.asked.chosen<0&&(this.asked.chosen=this.asked.choices.length),this.asked=null,this.play(!0)}neighbour(e){if(e>0)return this.moments.find(s=>s.t>this.t+1e-9)??null;let n=this.moments.filter(s=>s.t<this.t-1e-9);return n.length?n[n.length-1]:null}step(e){this.playing=!1;let t=this.neighbour(e);this.seek(t?t.t:e>0?this.end:this.start)}faster(e){let t=Jo.indexOf(this.rate)-e;this.setRate(Jo[Math.min(Math.max(t,0),Jo.length-1)])}setRate(e){this.rate=e,this.changed()}setSlows(e){this.slows=e,this.changed()}get hiddenFrom(){let e=this.questions.find(t=>t.chosen<0);return e?e.t:1/0}pressNow(e){let t=this.timeOf(e),n=this.presses[e].filter(s=>t>s.contact-.4&&t<s.end+.3);return n.length?n.reduce((s,r)=>Math.abs(r.contact-t)<Math.abs(s.contact-t)?r:s):null}listen(e){return this.listeners.add(e),()=>this.listeners.delete(e)}changed(){for(let e of this.listeners)e()}};var Og=14,Ko=46;function kg({desk:i}){let{player:e}=i,t=e.rateAt(e.t),n=e.asked!==null&&e.asked.chosen<0;return X("section",{class:"transport","aria-label":"Time",children:[X("div",{class:"controls",children:[X("button",{class:"big",disabled:n,onClick:()=>{i.picked=null,e.play()},children:e.playing?"\u275A\u275A Pause":"\u25B6 Play"}),X("button",{onClick:()=>{i.picked=null,e.step(-1)},"aria-label":"Previous event",children:"\u25C2 Event"}),X("button",{onClick:()=>{i.picked=null,e.step(1)},"aria-label":"Next event",children:"Event \u25B8"}),X("button",{onClick:()=>i.jumpBy(-1),"aria-label":"Previous finding",disabled:i.told.length===0,children:"\u25C2 Finding"}),X("button",{onClick:()=>i.jumpBy(1),"aria-label":"Next finding",disabled:i.told.length===0,children:"Finding \u25B8"}),X("label",{children:["Speed ",X("select",{value:String(e.rate),onChange:s=>e.setRate(Number(s.currentTarget.value)),children:Jo.map(s=>X("option",{value:String(s),children:Bg(s)},s))})]}),X("label",{children:[X("input",{type:"checkbox",checked:e.slows,onChange:s=>e.setSlows(s.currentTarget.checked)})," slow at contact"]}),X("output",{class:"clock",children:zg(i)}),X("span",{class:"pace",children:e.playing?`now ${Bg(t)}`:e.asked?"asking":"paused"})]}),X(Vv,{desk:i})]})}function zg(i){let{player:e}=i;if(e.replays.length===1)return`${Ur(e.t)} of ${Ur(e.end)}`;let t=e.t-e.page.zero_s[0];return`${t<0?"\u2212":"+"}${Math.abs(t).toFixed(3)} s from ${e.page.zero_label}`}function Bg(i){return i>=.95?"real time":`1/${Math.round(1/i)}`}function Vv({desk:i}){let{player:e}=i,t=Lr(null),[n,s]=Xp(1200);zo(()=>{let l=()=>s(t.current?.clientWidth??1200),u=new ResizeObserver(l);return t.current&&u.observe(t.current),l(),()=>u.disconnect()},[]);let r=Math.max(e.end-e.start,1e-9),o=l=>Og+(l-e.start)/r*(n-2*Og),a=Gv(i.told,o,n),c=e.moments.filter(l=>l.kind==="step"&&!l.text.startsWith("B"));return X("div",{class:"line",ref:t,children:[X("svg",{width:n,height:"62","aria-hidden":"true",children:[a.map(({finding:l,left:u})=>X("path",{class:"leader",d:`M${u+Ko/2} 28L${o(l.at)} 44`},l.number)),X("rect",{x:o(e.start),y:"44",width:o(e.end)-o(e.start),height:"8",rx:"4",class:"whole"}),X("rect",{x:o(e.start),y:"44",width:Math.max(o(e.t)-o(e.start),0),height:"8",rx:"4",class:"done"}),e.presses.flatMap((l,u)=>l.map(h=>X("rect",{class:"press",y:"42",height:"12",x:o(h.contact-e.shift(u))-1,width:Math.max(o(h.end-e.shift(u))-o(h.contact-e.shift(u)),3)},`${u} ${h.contact}`))),c.map(l=>X("line",{class:"step",x1:o(l.t),x2:o(l.t),y1:"52",y2:"60"},l.t)),e.questions.map(l=>X("g",{class:"ask-mark",children:[X("circle",{cx:o(l.t),cy:"48",r:"9"}),X("text",{x:o(l.t),y:"53",children:"?"})]},l.t)),X("path",{class:"cursor",d:`M${o(e.t)} 38V60M${o(e.t)-7} 34H${o(e.t)+7}L${o(e.t)} 43Z`})]}),X("input",{class:"scrub",type:"range",min:e.start,max:e.end,step:"any",value:e.t,"aria-label":"Time","aria-valuetext":zg(i),onInput:l=>{i.picked=null,e.playing=!1,e.seek(Number(l.currentTarget.value))}}),a.map(({finding:l,left:u})=>{let h=i.hidden(l),d=e.page.look.verdicts[l.severity]??e.page.look.verdicts[""];return X("button",{class:"marker",style:{left:`${u}px`,width:`${Ko}px`,borderColor:h?"#8794a1":d.colour},disabled:h,onClick:()=>i.jump(l),title:h?"not yet":l.title,"aria-label":h?"a finding, not yet shown":`Finding ${l.number}: ${l.title}, at ${Ur(l.t)}`,children:[h?"?":X(Ls,{look:d,size:16})," ",l.number]},l.number)})]})}function Gv(i,e,t){let n=i.map(o=>({finding:o,left:e(o.at)-Ko/2})),s=2;for(let o of n)o.left=Math.max(o.left,s),s=o.left+Ko+4;let r=t-2;for(let o of[...n].reverse())o.left=Math.min(o.left,r-Ko),r=o.left-4;return n}/**
 * @license
 * Copyright 2010-2026 Three.js Authors
 * SPDX-License-Identifier: MIT
 */var S0=0,qd=1,b0=2;var Ba=1,M0=2,So=3,qs=0,Cn=1,Ji=2,dr=0,bo=1,Yd=2,$d=3,Zd=4,w0=5;var fr=100,A0=101,E0=102,T0=103,C0=104,R0=200,P0=201,I0=202,L0=203,Jd=204,Kd=205,D0=206,N0=207,U0=208,F0=209,O0=210,B0=211,k0=212,z0=213,V0=214,oc=0,ac=1,lc=2,ho=3,cc=4,hc=5,uc=6,dc=7,Zc=0,G0=1,H0=2,Ki=0,jd=1,Qd=2,ef=3,tf=4,nf=5,sf=6,rf=7;var of=300,pr=301,Mo=302,Jc=303,Kc=304,fc=1e3,Yi=1001,pc=1002,Tn=1003,W0=1004;var ka=1005;var $n=1006,jc=1007;var Ms=1008;var jn=1009,af=1010,lf=1011,wo=1012,Qc=1013,Ni=1014,Ui=1015,Fi=1016,eh=1017,th=1018,mr=1020,cf=35902,hf=35899,uf=1021,df=1022,Oi=1023,ys=1026,ws=1027,ff=1028,nh=1029,Ys=1030,ih=1031;var sh=1033,za=33776,Va=33777,Ga=33778,Ha=33779,rh=35840,oh=35841,ah=35842,lh=35843,ch=36196,hh=37492,uh=37496,dh=37488,fh=37489,Wa=37490,ph=37491,mh=37808,gh=37809,_h=37810,xh=37811,yh=37812,vh=37813,Sh=37814,bh=37815,Mh=37816,wh=37817,Ah=37818,Eh=37819,Th=37820,Ch=37821,Rh=36492,Ph=36494,Ih=36495,Lh=36283,Dh=36284,Xa=36285,Nh=36286;var aa=2300,mc=2301,sc=2302,kd=2303,zd=2400,Vd=2401,Gd=2402;var X0=3200;var Uh=0,q0=1,As="",ci="srgb",la="srgb-linear",ca="linear",At="srgb";var rc=7680;var Y0=519,$0=512,Z0=513,J0=514,pf=515,K0=516,j0=517,mf=518,gf=519,_f=35044;var xf="300 es",yi=2e3,uo=2001;function Hv(i){for(let e=i.length-1;e>=0;--e)if(i[e]>=65535)return!0;return!1}function Wv(i){return ArrayBuffer.isView(i)&&!(i instanceof DataView)}function ha(i){return document.createElementNS("http://www.w3.org/1999/xhtml",i)}function Q0(){let i=ha("canvas");return i.style.display="block",i}var Vg={},fo=null;function ua(...i){let e="THREE."+i.shift();fo?fo("log",e,...i):console.log(e,...i)}function e_(i){let e=i[0];if(typeof e=="string"&&e.startsWith("TSL:")){let t=i[1];t&&t.isStackTrace?i[0]+=" "+t.getLocation():i[1]='Stack trace not available. Enable "THREE.Node.captureStackTrace" to capture stack traces.'}return i}function Ye(...i){i=e_(i);let e="THREE."+i.shift();if(fo)fo("warn",e,...i);else{let t=i[0];t&&t.isStackTrace?console.warn(t.getError(e)):console.warn(e,...i)}}function et(...i){i=e_(i);let e="THREE."+i.shift();if(fo)fo("error",e,...i);else{let t=i[0];t&&t.isStackTrace?console.error(t.getError(e)):console.error(e,...i)}}function ia(...i){let e=i.join(" ");e in Vg||(Vg[e]=!0,Ye(...i))}function t_(i,e,t){return new Promise(function(n,s){function r(){switch(i.clientWaitSync(e,i.SYNC_FLUSH_COMMANDS_BIT,0)){case i.WAIT_FAILED:s();break;case i.TIMEOUT_EXPIRED:setTimeout(r,t);break;default:n()}}setTimeout(r,t)})}var n_={[oc]:oc,[lc]:uc,[cc]:cc,[ho]:hc,[ac]:ac,[uc]:lc,[dc]:dc,[hc]:ho},$i=class{addEventListener(e,t){this._listeners===void 0&&(this._listeners={});let n=this._listeners;n[e]===void 0&&(n[e]=[]),n[e].indexOf(t)===-1&&n[e].push(t)}hasEventListener(e,t){let n=this._listeners;return n===void 0?!1:n[e]!==void 0&&n[e].indexOf(t)!==-1}removeEventListener(e,t){let n=this._listeners;if(n===void 0)return;let s=n[e];if(s!==void 0){let r=s.indexOf(t);r!==-1&&s.splice(r,1)}}dispatchEvent(e){let t=this._listeners;if(t===void 0)return;let n=t[e.type];if(n!==void 0){e.target=this;let s=n.slice(0);for(let r=0,o=s.length;r<o;r++)s[r].call(this,e);e.target=null}}},On=["00","01","02","03","04","05","06","07","08","09","0a","0b","0c","0d","0e","0f","10","11","12","13","14","15","16","17","18","19","1a","1b","1c","1d","1e","1f","20","21","22","23","24","25","26","27","28","29","2a","2b","2c","2d","2e","2f","30","31","32","33","34","35","36","37","38","39","3a","3b","3c","3d","3e","3f","40","41","42","43","44","45","46","47","48","49","4a","4b","4c","4d","4e","4f","50","51","52","53","54","55","56","57","58","59","5a","5b","5c","5d","5e","5f","60","61","62","63","64","65","66","67","68","69","6a","6b","6c","6d","6e","6f","70","71","72","73","74","75","76","77","78","79","7a","7b","7c","7d","7e","7f","80","81","82","83","84","85","86","87","88","89","8a","8b","8c","8d","8e","8f","90","91","92","93","94","95","96","97","98","99","9a","9b","9c","9d","9e","9f","a0","a1","a2","a3","a4","a5","a6","a7","a8","a9","aa","ab","ac","ad","ae","af","b0","b1","b2","b3","b4","b5","b6","b7","b8","b9","ba","bb","bc","bd","be","bf","c0","c1","c2","c3","c4","c5","c6","c7","c8","c9","ca","cb","cc","cd","ce","cf","d0","d1","d2","d3","d4","d5","d6","d7","d8","d9","da","db","dc","dd","de","df","e0","e1","e2","e3","e4","e5","e6","e7","e8","e9","ea","eb","ec","ed","ee","ef","f0","f1","f2","f3","f4","f5","f6","f7","f8","f9","fa","fb","fc","fd","fe","ff"],Gg=1234567,lo=Math.PI/180,po=180/Math.PI;function $s(){let i=Math.random()*4294967295|0,e=Math.random()*4294967295|0,t=Math.random()*4294967295|0,n=Math.random()*4294967295|0;return(On[i&255]+On[i>>8&255]+On[i>>16&255]+On[i>>24&255]+"-"+On[e&255]+On[e>>8&255]+"-"+On[e>>16&15|64]+On[e>>24&255]+"-"+On[t&63|128]+On[t>>8&255]+"-"+On[t>>16&255]+On[t>>24&255]+On[n&255]+On[n>>8&255]+On[n>>16&255]+On[n>>24&255]).toLowerCase()}function ot(i,e,t){return Math.max(e,Math.min(t,i))}function yf(i,e){return(i%e+e)%e}function Xv(i,e,t,n,s){return n+(i-e)*(s-n)/(t-e)}function qv(i,e,t){return i!==e?(t-i)/(e-i):0}function sa(i,e,t){return(1-t)*i+t*e}function Yv(i,e,t,n){return sa(i,e,1-Math.exp(-t*n))}function $v(i,e=1){return e-Math.abs(yf(i,e*2)-e)}function Zv(i,e,t){return i<=e?0:i>=t?1:(i=(i-e)/(t-e),i*i*(3-2*i))}function Jv(i,e,t){return i<=e?0:i>=t?1:(i=(i-e)/(t-e),i*i*i*(i*(i*6-15)+10))}function Kv(i,e){return i+Math.floor(Math.random()*(e-i+1))}function jv(i,e){return i+Math.random()*(e-i)}function Qv(i){return i*(.5-Math.random())}function eS(i){i!==void 0&&(Gg=i);let e=Gg+=1831565813;return e=Math.imul(e^e>>>15,e|1),e^=e+Math.imul(e^e>>>7,e|61),((e^e>>>14)>>>0)/4294967296}function tS(i){return i*lo}function nS(i){return i*po}function iS(i){return i>0&&Number.isInteger(i)&&2**Math.round(Math.log2(i))===i}function sS(i){return Math.pow(2,Math.ceil(Math.log(i)/Math.LN2))}function vf(i){return Math.pow(2,Math.floor(Math.log(i)/Math.LN2))}function rS(i,e,t,n,s){let r=Math.cos,o=Math.sin,a=r(t/2),c=o(t/2),l=r((e+n)/2),u=o((e+n)/2),h=r((e-n)/2),d=o((e-n)/2),f=r((n-e)/2),g=o((n-e)/2);switch(s){case"XYX":i.set(a*u,c*h,c*d,a*l);break;case"YZY":i.set(c*d,a*u,c*h,a*l);break;case"ZXZ":i.set(c*h,c*d,a*u,a*l);break;case"XZX":i.set(a*u,c*g,c*f,a*l);break;case"YXY":i.set(c*f,a*u,c*g,a*l);break;case"ZYZ":i.set(c*g,c*f,a*u,a*l);break;default:Ye("MathUtils: .setQuaternionFromProperEuler() encountered an unknown order: "+s)}}function Fh(i){switch(i.constructor){case Uint32Array:return 4294967295;case Uint16Array:return 65535;case Uint8Array:case Uint8ClampedArray:return 255;case Int32Array:return 2147483647;case Int16Array:return 32767;case Int8Array:return 127;default:return}}function Sf(i,e){if(e.constructor===Float32Array)return i;let t=Fh(e);if(t===void 0)throw new Error("THREE.MathUtils: Invalid component type.");return Math.max(i/t,-1)}function bf(i,e){if(e.constructor===Float32Array)return i;let t=Fh(e);if(t===void 0)throw new Error("THREE.MathUtils: Invalid component type.");return Math.round(i*t)}var Mf={DEG2RAD:lo,RAD2DEG:po,generateUUID:$s,clamp:ot,euclideanModulo:yf,mapLinear:Xv,inverseLerp:qv,lerp:sa,damp:Yv,pingpong:$v,smoothstep:Zv,smootherstep:Jv,randInt:Kv,randFloat:jv,randFloatSpread:Qv,seededRandom:eS,degToRad:tS,radToDeg:nS,isPowerOfTwo:iS,ceilPowerOfTwo:sS,floorPowerOfTwo:vf,setQuaternionFromProperEuler:rS,normalize:bf,denormalize:Sf},Rf=class Rf{constructor(e=0,t=0){this.x=e,this.y=t}get width(){return this.x}set width(e){this.x=e}get height(){return this.y}set height(e){this.y=e}set(e,t){return this.x=e,this.y=t,this}setScalar(e){return this.x=e,this.y=e,this}setX(e){return this.x=e,this}setY(e){return this.y=e,this}setComponent(e,t){switch(e){case 0:this.x=t;break;case 1:this.y=t;break;default:throw new Error("THREE.Vector2: index is out of range: "+e)}return this}getComponent(e){switch(e){case 0:return this.x;case 1:return this.y;default:throw new Error("THREE.Vector2: index is out of range: "+e)}}clone(){return new this.constructor(this.x,this.y)}copy(e){return this.x=e.x,this.y=e.y,this}add(e){return this.x+=e.x,this.y+=e.y,this}addScalar(e){return this.x+=e,this.y+=e,this}addVectors(e,t){return this.x=e.x+t.x,this.y=e.y+t.y,this}addScaledVector(e,t){return this.x+=e.x*t,this.y+=e.y*t,this}sub(e){return this.x-=e.x,this.y-=e.y,this}subScalar(e){return this.x-=e,this.y-=e,this}subVectors(e,t){return this.x=e.x-t.x,this.y=e.y-t.y,this}multiply(e){return this.x*=e.x,this.y*=e.y,this}multiplyScalar(e){return this.x*=e,this.y*=e,this}divide(e){return this.x/=e.x,this.y/=e.y,this}divideScalar(e){return this.multiplyScalar(1/e)}applyMatrix3(e){let t=this.x,n=this.y,s=e.elements;return this.x=s[0]*t+s[3]*n+s[6],this.y=s[1]*t+s[4]*n+s[7],this}min(e){return this.x=Math.min(this.x,e.x),this.y=Math.min(this.y,e.y),this}max(e){return this.x=Math.max(this.x,e.x),this.y=Math.max(this.y,e.y),this}clamp(e,t){return this.x=ot(this.x,e.x,t.x),this.y=ot(this.y,e.y,t.y),this}clampScalar(e,t){return this.x=ot(this.x,e,t),this.y=ot(this.y,e,t),this}clampLength(e,t){let n=this.length();return this.divideScalar(n||1).multiplyScalar(ot(n,e,t))}floor(){return this.x=Math.floor(this.x),this.y=Math.floor(this.y),this}ceil(){return this.x=Math.ceil(this.x),this.y=Math.ceil(this.y),this}round(){return this.x=Math.round(this.x),this.y=Math.round(this.y),this}roundToZero(){return this.x=Math.trunc(this.x),this.y=Math.trunc(this.y),this}negate(){return this.x=-this.x,this.y=-this.y,this}dot(e){return this.x*e.x+this.y*e.y}cross(e){return this.x*e.y-this.y*e.x}lengthSq(){return this.x*this.x+this.y*this.y}length(){return Math.sqrt(this.x*this.x+this.y*this.y)}manhattanLength(){return Math.abs(this.x)+Math.abs(this.y)}normalize(){return this.divideScalar(this.length()||1)}angle(){return Math.atan2(-this.y,-this.x)+Math.PI}angleTo(e){let t=Math.sqrt(this.lengthSq()*e.lengthSq());if(t===0)return Math.PI/2;let n=this.dot(e)/t;return Math.acos(ot(n,-1,1))}distanceTo(e){return Math.sqrt(this.distanceToSquared(e))}distanceToSquared(e){let t=this.x-e.x,n=this.y-e.y;return t*t+n*n}manhattanDistanceTo(e){return Math.abs(this.x-e.x)+Math.abs(this.y-e.y)}setLength(e){return this.normalize().multiplyScalar(e)}lerp(e,t){return this.x+=(e.x-this.x)*t,this.y+=(e.y-this.y)*t,this}lerpVectors(e,t,n){return this.x=e.x+(t.x-e.x)*n,this.y=e.y+(t.y-e.y)*n,this}equals(e){return e.x===this.x&&e.y===this.y}fromArray(e,t=0){return this.x=e[t],this.y=e[t+1],this}toArray(e=[],t=0){return e[t]=this.x,e[t+1]=this.y,e}fromBufferAttribute(e,t){return this.x=e.getX(t),this.y=e.getY(t),this}rotateAround(e,t){let n=Math.cos(t),s=Math.sin(t),r=this.x-e.x,o=this.y-e.y;return this.x=r*n-o*s+e.x,this.y=r*s+o*n+e.y,this}random(){return this.x=Math.random(),this.y=Math.random(),this}*[Symbol.iterator](){yield this.x,yield this.y}};Rf.prototype.isVector2=!0;var He=Rf,Zi=class{constructor(e=0,t=0,n=0,s=1){this.isQuaternion=!0,this._x=e,this._y=t,this._z=n,this._w=s}static slerpFlat(e,t,n,s,r,o,a){let c=n[s+0],l=n[s+1],u=n[s+2],h=n[s+3],d=r[o+0],f=r[o+1],g=r[o+2],y=r[o+3];if(h!==y||c!==d||l!==f||u!==g){let m=c*d+l*f+u*g+h*y;m<0&&(d=-d,f=-f,g=-g,y=-y,m=-m);let p=1-a;if(m<.9995){let v=Math.acos(m),T=Math.sin(v);p=Math.sin(p*v)/T,a=Math.sin(a*v)/T,c=c*p+d*a,l=l*p+f*a,u=u*p+g*a,h=h*p+y*a}else{c=c*p+d*a,l=l*p+f*a,u=u*p+g*a,h=h*p+y*a;let v=1/Math.sqrt(c*c+l*l+u*u+h*h);c*=v,l*=v,u*=v,h*=v}}e[t]=c,e[t+1]=l,e[t+2]=u,e[t+3]=h}static multiplyQuaternionsFlat(e,t,n,s,r,o){let a=n[s],c=n[s+1],l=n[s+2],u=n[s+3],h=r[o],d=r[o+1],f=r[o+2],g=r[o+3];return e[t]=a*g+u*h+c*f-l*d,e[t+1]=c*g+u*d+l*h-a*f,e[t+2]=l*g+u*f+a*d-c*h,e[t+3]=u*g-a*h-c*d-l*f,e}get x(){return this._x}set x(e){this._x=e,this._onChangeCallback()}get y(){return this._y}set y(e){this._y=e,this._onChangeCallback()}get z(){return this._z}set z(e){this._z=e,this._onChangeCallback()}get w(){return this._w}set w(e){this._w=e,this._onChangeCallback()}set(e,t,n,s){return this._x=e,this._y=t,this._z=n,this._w=s,this._onChangeCallback(),this}clone(){return new this.constructor(this._x,this._y,this._z,this._w)}copy(e){return this._x=e.x,this._y=e.y,this._z=e.z,this._w=e.w,this._onChangeCallback(),this}setFromEuler(e,t=!0){let n=e._x,s=e._y,r=e._z,o=e._order,a=Math.cos,c=Math.sin,l=a(n/2),u=a(s/2),h=a(r/2),d=c(n/2),f=c(s/2),g=c(r/2);switch(o){case"XYZ":this._x=d*u*h+l*f*g,this._y=l*f*h-d*u*g,this._z=l*u*g+d*f*h,this._w=l*u*h-d*f*g;break;case"YXZ":this._x=d*u*h+l*f*g,this._y=l*f*h-d*u*g,this._z=l*u*g-d*f*h,this._w=l*u*h+d*f*g;break;case"ZXY":this._x=d*u*h-l*f*g,this._y=l*f*h+d*u*g,this._z=l*u*g+d*f*h,this._w=l*u*h-d*f*g;break;case"ZYX":this._x=d*u*h-l*f*g,this._y=l*f*h+d*u*g,this._z=l*u*g-d*f*h,this._w=l*u*h+d*f*g;break;case"YZX":this._x=d*u*h+l*f*g,this._y=l*f*h+d*u*g,this._z=l*u*g-d*f*h,this._w=l*u*h-d*f*g;break;case"XZY":this._x=d*u*h-l*f*g,this._y=l*f*h-d*u*g,this._z=l*u*g+d*f*h,this._w=l*u*h+d*f*g;break;default:Ye("Quaternion: .setFromEuler() encountered an unknown order: "+o)}return t===!0&&this._onChangeCallback(),this}setFromAxisAngle(e,t){let n=t/2,s=Math.sin(n);return this._x=e.x*s,this._y=e.y*s,this._z=e.z*s,this._w=Math.cos(n),this._onChangeCallback(),this}setFromRotationMatrix(e){let t=e.elements,n=t[0],s=t[4],r=t[8],o=t[1],a=t[5],c=t[9],l=t[2],u=t[6],h=t[10],d=n+a+h;if(d>0){let f=.5/Math.sqrt(d+1);this._w=.25/f,this._x=(u-c)*f,this._y=(r-l)*f,this._z=(o-s)*f}else if(n>a&&n>h){let f=2*Math.sqrt(1+n-a-h);this._w=(u-c)/f,this._x=.25*f,this._y=(s+o)/f,this._z=(r+l)/f}else if(a>h){let f=2*Math.sqrt(1+a-n-h);this._w=(r-l)/f,this._x=(s+o)/f,this._y=.25*f,this._z=(c+u)/f}else{let f=2*Math.sqrt(1+h-n-a);this._w=(o-s)/f,this._x=(r+l)/f,this._y=(c+u)/f,this._z=.25*f}return this._onChangeCallback(),this}setFromUnitVectors(e,t){let n=e.dot(t)+1;return n<1e-8?(n=0,Math.abs(e.x)>Math.abs(e.z)?(this._x=-e.y,this._y=e.x,this._z=0,this._w=n):(this._x=0,this._y=-e.z,this._z=e.y,this._w=n)):(this._x=e.y*t.z-e.z*t.y,this._y=e.z*t.x-e.x*t.z,this._z=e.x*t.y-e.y*t.x,this._w=n),this.normalize()}angleTo(e){return 2*Math.acos(Math.abs(ot(this.dot(e),-1,1)))}rotateTowards(e,t){let n=this.angleTo(e);if(n===0)return this;let s=Math.min(1,t/n);return this.slerp(e,s),this}identity(){return this.set(0,0,0,1)}invert(){return this.conjugate()}conjugate(){return this._x*=-1,this._y*=-1,this._z*=-1,this._onChangeCallback(),this}dot(e){return this._x*e._x+this._y*e._y+this._z*e._z+this._w*e._w}lengthSq(){return this._x*this._x+this._y*this._y+this._z*this._z+this._w*this._w}length(){return Math.sqrt(this._x*this._x+this._y*this._y+this._z*this._z+this._w*this._w)}normalize(){let e=this.length();return e===0?(this._x=0,this._y=0,this._z=0,this._w=1):(e=1/e,this._x=this._x*e,this._y=this._y*e,this._z=this._z*e,this._w=this._w*e),this._onChangeCallback(),this}multiply(e){return this.multiplyQuaternions(this,e)}premultiply(e){return this.multiplyQuaternions(e,this)}multiplyQuaternions(e,t){let n=e._x,s=e._y,r=e._z,o=e._w,a=t._x,c=t._y,l=t._z,u=t._w;return this._x=n*u+o*a+s*l-r*c,this._y=s*u+o*c+r*a-n*l,this._z=r*u+o*l+n*c-s*a,this._w=o*u-n*a-s*c-r*l,this._onChangeCallback(),this}slerp(e,t){let n=e._x,s=e._y,r=e._z,o=e._w,a=this.dot(e);a<0&&(n=-n,s=-s,r=-r,o=-o,a=-a);let c=1-t;if(a<.9995){let l=Math.acos(a),u=Math.sin(l);c=Math.sin(c*l)/u,t=Math.sin(t*l)/u,this._x=this._x*c+n*t,this._y=this._y*c+s*t,this._z=this._z*c+r*t,this._w=this._w*c+o*t,this._onChangeCallback()}else this._x=this._x*c+n*t,this._y=this._y*c+s*t,this._z=this._z*c+r*t,this._w=this._w*c+o*t,this.normalize();return this}slerpQuaternions(e,t,n){return this.copy(e).slerp(t,n)}random(){let e=2*Math.PI*Math.random(),t=2*Math.PI*Math.random(),n=Math.random(),s=Math.sqrt(1-n),r=Math.sqrt(n);return this.set(s*Math.sin(e),s*Math.cos(e),r*Math.sin(t),r*Math.cos(t))}equals(e){return e._x===this._x&&e._y===this._y&&e._z===this._z&&e._w===this._w}fromArray(e,t=0){return this._x=e[t],this._y=e[t+1],this._z=e[t+2],this._w=e[t+3],this._onChangeCallback(),this}toArray(e=[],t=0){return e[t]=this._x,e[t+1]=this._y,e[t+2]=this._z,e[t+3]=this._w,e}fromBufferAttribute(e,t){return this._x=e.getX(t),this._y=e.getY(t),this._z=e.getZ(t),this._w=e.getW(t),this._onChangeCallback(),this}toJSON(){return this.toArray()}_onChange(e){return this._onChangeCallback=e,this}_onChangeCallback(){}*[Symbol.iterator](){yield this._x,yield this._y,yield this._z,yield this._w}},Pf=class Pf{constructor(e=0,t=0,n=0){this.x=e,this.y=t,this.z=n}set(e,t,n){return n===void 0&&(n=this.z),this.x=e,this.y=t,this.z=n,this}setScalar(e){return this.x=e,this.y=e,this.z=e,this}setX(e){return this.x=e,this}setY(e){return this.y=e,this}setZ(e){return this.z=e,this}setComponent(e,t){switch(e){case 0:this.x=t;break;case 1:this.y=t;break;case 2:this.z=t;break;default:throw new Error("THREE.Vector3: index is out of range: "+e)}return this}getComponent(e){switch(e){case 0:return this.x;case 1:return this.y;case 2:return this.z;default:throw new Error("THREE.Vector3: index is out of range: "+e)}}clone(){return new this.constructor(this.x,this.y,this.z)}copy(e){return this.x=e.x,this.y=e.y,this.z=e.z,this}add(e){return this.x+=e.x,this.y+=e.y,this.z+=e.z,this}addScalar(e){return this.x+=e,this.y+=e,this.z+=e,this}addVectors(e,t){return this.x=e.x+t.x,this.y=e.y+t.y,this.z=e.z+t.z,this}addScaledVector(e,t){return this.x+=e.x*t,this.y+=e.y*t,this.z+=e.z*t,this}sub(e){return this.x-=e.x,this.y-=e.y,this.z-=e.z,this}subScalar(e){return this.x-=e,this.y-=e,this.z-=e,this}subVectors(e,t){return this.x=e.x-t.x,this.y=e.y-t.y,this.z=e.z-t.z,this}multiply(e){return this.x*=e.x,this.y*=e.y,this.z*=e.z,this}multiplyScalar(e){return this.x*=e,this.y*=e,this.z*=e,this}multiplyVectors(e,t){return this.x=e.x*t.x,this.y=e.y*t.y,this.z=e.z*t.z,this}applyEuler(e){return this.applyQuaternion(Hg.setFromEuler(e))}applyAxisAngle(e,t){return this.applyQuaternion(Hg.setFromAxisAngle(e,t))}applyMatrix3(e){let t=this.x,n=this.y,s=this.z,r=e.elements;return this.x=r[0]*t+r[3]*n+r[6]*s,this.y=r[1]*t+r[4]*n+r[7]*s,this.z=r[2]*t+r[5]*n+r[8]*s,this}applyNormalMatrix(e){return this.applyMatrix3(e).normalize()}applyMatrix4(e){let t=this.x,n=this.y,s=this.z,r=e.elements,o=1/(r[3]*t+r[7]*n+r[11]*s+r[15]);return this.x=(r[0]*t+r[4]*n+r[8]*s+r[12])*o,this.y=(r[1]*t+r[5]*n+r[9]*s+r[13])*o,this.z=(r[2]*t+r[6]*n+r[10]*s+r[14])*o,this}applyQuaternion(e){let t=this.x,n=this.y,s=this.z,r=e.x,o=e.y,a=e.z,c=e.w,l=2*(o*s-a*n),u=2*(a*t-r*s),h=2*(r*n-o*t);return this.x=t+c*l+o*h-a*u,this.y=n+c*u+a*l-r*h,this.z=s+c*h+r*u-o*l,this}project(e){return this.applyMatrix4(e.matrixWorldInverse).applyMatrix4(e.projectionMatrix)}unproject(e){return this.applyMatrix4(e.projectionMatrixInverse).applyMatrix4(e.matrixWorld)}transformDirection(e){let t=this.x,n=this.y,s=this.z,r=e.elements;return this.x=r[0]*t+r[4]*n+r[8]*s,this.y=r[1]*t+r[5]*n+r[9]*s,this.z=r[2]*t+r[6]*n+r[10]*s,this.normalize()}divide(e){return this.x/=e.x,this.y/=e.y,this.z/=e.z,this}divideScalar(e){return this.multiplyScalar(1/e)}min(e){return this.x=Math.min(this.x,e.x),this.y=Math.min(this.y,e.y),this.z=Math.min(this.z,e.z),this}max(e){return this.x=Math.max(this.x,e.x),this.y=Math.max(this.y,e.y),this.z=Math.max(this.z,e.z),this}clamp(e,t){return this.x=ot(this.x,e.x,t.x),this.y=ot(this.y,e.y,t.y),this.z=ot(this.z,e.z,t.z),this}clampScalar(e,t){return this.x=ot(this.x,e,t),this.y=ot(this.y,e,t),this.z=ot(this.z,e,t),this}clampLength(e,t){let n=this.length();return this.divideScalar(n||1).multiplyScalar(ot(n,e,t))}floor(){return this.x=Math.floor(this.x),this.y=Math.floor(this.y),this.z=Math.floor(this.z),this}ceil(){return this.x=Math.ceil(this.x),this.y=Math.ceil(this.y),this.z=Math.ceil(this.z),this}round(){return this.x=Math.round(this.x),this.y=Math.round(this.y),this.z=Math.round(this.z),this}roundToZero(){return this.x=Math.trunc(this.x),this.y=Math.trunc(this.y),this.z=Math.trunc(this.z),this}negate(){return this.x=-this.x,this.y=-this.y,this.z=-this.z,this}dot(e){return this.x*e.x+this.y*e.y+this.z*e.z}lengthSq(){return this.x*this.x+this.y*this.y+this.z*this.z}length(){return Math.sqrt(this.x*this.x+this.y*this.y+this.z*this.z)}manhattanLength(){return Math.abs(this.x)+Math.abs(this.y)+Math.abs(this.z)}normalize(){return this.divideScalar(this.length()||1)}setLength(e){return this.normalize().multiplyScalar(e)}lerp(e,t){return this.x+=(e.x-this.x)*t,this.y+=(e.y-this.y)*t,this.z+=(e.z-this.z)*t,this}lerpVectors(e,t,n){return this.x=e.x+(t.x-e.x)*n,this.y=e.y+(t.y-e.y)*n,this.z=e.z+(t.z-e.z)*n,this}cross(e){return this.crossVectors(this,e)}crossVectors(e,t){let n=e.x,s=e.y,r=e.z,o=t.x,a=t.y,c=t.z;return this.x=s*c-r*a,this.y=r*o-n*c,this.z=n*a-s*o,this}projectOnVector(e){let t=e.lengthSq();if(t===0)return this.set(0,0,0);let n=e.dot(this)/t;return this.copy(e).multiplyScalar(n)}projectOnPlane(e){return fd.copy(this).projectOnVector(e),this.sub(fd)}reflect(e){return this.sub(fd.copy(e).multiplyScalar(2*this.dot(e)))}angleTo(e){let t=Math.sqrt(this.lengthSq()*e.lengthSq());if(t===0)return Math.PI/2;let n=this.dot(e)/t;return Math.acos(ot(n,-1,1))}distanceTo(e){return Math.sqrt(this.distanceToSquared(e))}distanceToSquared(e){let t=this.x-e.x,n=this.y-e.y,s=this.z-e.z;return t*t+n*n+s*s}manhattanDistanceTo(e){return Math.abs(this.x-e.x)+Math.abs(this.y-e.y)+Math.abs(this.z-e.z)}setFromSpherical(e){return this.setFromSphericalCoords(e.radius,e.phi,e.theta)}setFromSphericalCoords(e,t,n){let s=Math.sin(t)*e;return this.x=s*Math.sin(n),this.y=Math.cos(t)*e,this.z=s*Math.cos(n),this}setFromCylindrical(e){return this.setFromCylindricalCoords(e.radius,e.theta,e.y)}setFromCylindricalCoords(e,t,n){return this.x=e*Math.sin(t),this.y=n,this.z=e*Math.cos(t),this}setFromMatrixPosition(e){let t=e.elements;return this.x=t[12],this.y=t[13],this.z=t[14],this}setFromMatrixScale(e){let t=this.setFromMatrixColumn(e,0).length(),n=this.setFromMatrixColumn(e,1).length(),s=this.setFromMatrixColumn(e,2).length();return this.x=t,this.y=n,this.z=s,this}setFromMatrixColumn(e,t){return this.fromArray(e.elements,t*4)}setFromMatrix3Column(e,t){return this.fromArray(e.elements,t*3)}setFromEuler(e){return this.x=e._x,this.y=e._y,this.z=e._z,this}setFromColor(e){return this.x=e.r,this.y=e.g,this.z=e.b,this}equals(e){return e.x===this.x&&e.y===this.y&&e.z===this.z}fromArray(e,t=0){return this.x=e[t],this.y=e[t+1],this.z=e[t+2],this}toArray(e=[],t=0){return e[t]=this.x,e[t+1]=this.y,e[t+2]=this.z,e}fromBufferAttribute(e,t){return this.x=e.getX(t),this.y=e.getY(t),this.z=e.getZ(t),this}random(){return this.x=Math.random(),this.y=Math.random(),this.z=Math.random(),this}randomDirection(){let e=Math.random()*Math.PI*2,t=Math.random()*2-1,n=Math.sqrt(1-t*t);return this.x=n*Math.cos(e),this.y=t,this.z=n*Math.sin(e),this}*[Symbol.iterator](){yield this.x,yield this.y,yield this.z}};Pf.prototype.isVector3=!0;var U=Pf,fd=new U,Hg=new Zi,If=class If{constructor(e,t,n,s,r,o,a,c,l){this.elements=[1,0,0,0,1,0,0,0,1],e!==void 0&&this.set(e,t,n,s,r,o,a,c,l)}set(e,t,n,s,r,o,a,c,l){let u=this.elements;return u[0]=e,u[1]=s,u[2]=a,u[3]=t,u[4]=r,u[5]=c,u[6]=n,u[7]=o,u[8]=l,this}identity(){return this.set(1,0,0,0,1,0,0,0,1),this}copy(e){let t=this.elements,n=e.elements;return t[0]=n[0],t[1]=n[1],t[2]=n[2],t[3]=n[3],t[4]=n[4],t[5]=n[5],t[6]=n[6],t[7]=n[7],t[8]=n[8],this}extractBasis(e,t,n){return e.setFromMatrix3Column(this,0),t.setFromMatrix3Column(this,1),n.setFromMatrix3Column(this,2),this}setFromMatrix4(e){let t=e.elements;return this.set(t[0],t[4],t[8],t[1],t[5],t[9],t[2],t[6],t[10]),this}multiply(e){return this.multiplyMatrices(this,e)}premultiply(e){return this.multiplyMatrices(e,this)}multiplyMatrices(e,t){let n=e.elements,s=t.elements,r=this.elements,o=n[0],a=n[3],c=n[6],l=n[1],u=n[4],h=n[7],d=n[2],f=n[5],g=n[8],y=s[0],m=s[3],p=s[6],v=s[1],T=s[4],S=s[7],C=s[2],E=s[5],x=s[8];return r[0]=o*y+a*v+c*C,r[3]=o*m+a*T+c*E,r[6]=o*p+a*S+c*x,r[1]=l*y+u*v+h*C,r[4]=l*m+u*T+h*E,r[7]=l*p+u*S+h*x,r[2]=d*y+f*v+g*C,r[5]=d*m+f*T+g*E,r[8]=d*p+f*S+g*x,this}multiplyScalar(e){let t=this.elements;return t[0]*=e,t[3]*=e,t[6]*=e,t[1]*=e,t[4]*=e,t[7]*=e,t[2]*=e,t[5]*=e,t[8]*=e,this}determinant(){let e=this.elements,t=e[0],n=e[1],s=e[2],r=e[3],o=e[4],a=e[5],c=e[6],l=e[7],u=e[8];return t*o*u-t*a*l-n*r*u+n*a*c+s*r*l-s*o*c}invert(){let e=this.elements,t=e[0],n=e[1],s=e[2],r=e[3],o=e[4],a=e[5],c=e[6],l=e[7],u=e[8],h=u*o-a*l,d=a*c-u*r,f=l*r-o*c,g=t*h+n*d+s*f;if(g===0)return this.set(0,0,0,0,0,0,0,0,0);let y=1/g;return e[0]=h*y,e[1]=(s*l-u*n)*y,e[2]=(a*n-s*o)*y,e[3]=d*y,e[4]=(u*t-s*c)*y,e[5]=(s*r-a*t)*y,e[6]=f*y,e[7]=(n*c-l*t)*y,e[8]=(o*t-n*r)*y,this}transpose(){let e,t=this.elements;return e=t[1],t[1]=t[3],t[3]=e,e=t[2],t[2]=t[6],t[6]=e,e=t[5],t[5]=t[7],t[7]=e,this}getNormalMatrix(e){return this.setFromMatrix4(e).invert().transpose()}transposeIntoArray(e){let t=this.elements;return e[0]=t[0],e[1]=t[3],e[2]=t[6],e[3]=t[1],e[4]=t[4],e[5]=t[7],e[6]=t[2],e[7]=t[5],e[8]=t[8],this}setUvTransform(e,t,n,s,r,o,a){let c=Math.cos(r),l=Math.sin(r);return this.set(n*c,n*l,-n*(c*o+l*a)+o+e,-s*l,s*c,-s*(-l*o+c*a)+a+t,0,0,1),this}scale(e,t){return ia("Matrix3: .scale() is deprecated. Use .makeScale() instead."),this.premultiply(pd.makeScale(e,t)),this}rotate(e){return ia("Matrix3: .rotate() is deprecated. Use .makeRotation() instead."),this.premultiply(pd.makeRotation(-e)),this}translate(e,t){return ia("Matrix3: .translate() is deprecated. Use .makeTranslation() instead."),this.premultiply(pd.makeTranslation(e,t)),this}makeTranslation(e,t){return e.isVector2?this.set(1,0,e.x,0,1,e.y,0,0,1):this.set(1,0,e,0,1,t,0,0,1),this}makeRotation(e){let t=Math.cos(e),n=Math.sin(e);return this.set(t,-n,0,n,t,0,0,0,1),this}makeScale(e,t){return this.set(e,0,0,0,t,0,0,0,1),this}equals(e){let t=this.elements,n=e.elements;for(let s=0;s<9;s++)if(t[s]!==n[s])return!1;return!0}fromArray(e,t=0){for(let n=0;n<9;n++)this.elements[n]=e[n+t];return this}toArray(e=[],t=0){let n=this.elements;return e[t]=n[0],e[t+1]=n[1],e[t+2]=n[2],e[t+3]=n[3],e[t+4]=n[4],e[t+5]=n[5],e[t+6]=n[6],e[t+7]=n[7],e[t+8]=n[8],e}clone(){return new this.constructor().fromArray(this.elements)}};If.prototype.isMatrix3=!0;var tt=If,pd=new tt,Wg=new tt().set(.4123908,.3575843,.1804808,.212639,.7151687,.0721923,.0193308,.1191948,.9505322),Xg=new tt().set(3.2409699,-1.5373832,-.4986108,-.9692436,1.8759675,.0415551,.0556301,-.203977,1.0569715);function oS(){let i={enabled:!0,workingColorSpace:la,spaces:{},convert:function(s,r,o){return this.enabled===!1||r===o||!r||!o||(this.spaces[r].transfer===At&&(s.r=xs(s.r),s.g=xs(s.g),s.b=xs(s.b)),this.spaces[r].primaries!==this.spaces[o].primaries&&(s.applyMatrix3(this.spaces[r].toXYZ),s.applyMatrix3(this.spaces[o].fromXYZ)),this.spaces[o].transfer===At&&(s.r=co(s.r),s.g=co(s.g),s.b=co(s.b))),s},workingToColorSpace:function(s,r){return this.convert(s,this.workingColorSpace,r)},colorSpaceToWorking:function(s,r){return this.convert(s,r,this.workingColorSpace)},getPrimaries:function(s){return this.spaces[s].primaries},getTransfer:function(s){return s===As?ca:this.spaces[s].transfer},getToneMappingMode:function(s){return this.spaces[s].outputColorSpaceConfig.toneMappingMode||"standard"},getLuminanceCoefficients:function(s,r=this.workingColorSpace){return s.fromArray(this.spaces[r].luminanceCoefficients)},define:function(s){Object.assign(this.spaces,s)},_getMatrix:function(s,r,o){return s.copy(this.spaces[o].fromXYZ).multiply(this.spaces[r].toXYZ)},_getDrawingBufferColorSpace:function(s){return this.spaces[s].outputColorSpaceConfig.drawingBufferColorSpace},_getUnpackColorSpace:function(s=this.workingColorSpace){return this.spaces[s].workingColorSpaceConfig.unpackColorSpace}},e=[.64,.33,.3,.6,.15,.06],t=[.2126,.7152,.0722],n=[.3127,.329];return i.define({[la]:{primaries:e,whitePoint:n,transfer:ca,toXYZ:Wg,fromXYZ:Xg,luminanceCoefficients:t,workingColorSpaceConfig:{unpackColorSpace:ci},outputColorSpaceConfig:{drawingBufferColorSpace:ci}},[ci]:{primaries:e,whitePoint:n,transfer:At,toXYZ:Wg,fromXYZ:Xg,luminanceCoefficients:t,outputColorSpaceConfig:{drawingBufferColorSpace:ci}}}),i}var xt=oS();function xs(i){return i<.04045?i*.0773993808:Math.pow(i*.9478672986+.0521327014,2.4)}function co(i){return i<.0031308?i*12.92:1.055*Math.pow(i,.41666)-.055}var Yr,gc=class{static getDataURL(e,t="image/png"){if(/^data:/i.test(e.src)||typeof HTMLCanvasElement>"u")return e.src;let n;if(e instanceof HTMLCanvasElement)n=e;else{Yr===void 0&&(Yr=ha("canvas")),Yr.width=e.width,Yr.height=e.height;let s=Yr.getContext("2d");e instanceof ImageData?s.putImageData(e,0,0):s.drawImage(e,0,0,e.width,e.height),n=Yr}return n.toDataURL(t)}static sRGBToLinear(e){if(typeof HTMLImageElement<"u"&&e instanceof HTMLImageElement||typeof HTMLCanvasElement<"u"&&e instanceof HTMLCanvasElement||typeof ImageBitmap<"u"&&e instanceof ImageBitmap){let t=ha("canvas");t.width=e.width,t.height=e.height;let n=t.getContext("2d");n.drawImage(e,0,0,e.width,e.height);let s=n.getImageData(0,0,e.width,e.height),r=s.data;for(let o=0;o<r.length;o++)r[o]=xs(r[o]/255)*255;return n.putImageData(s,0,0),t}else if(e.data){let t=e.data.slice(0);for(let n=0;n<t.length;n++)t instanceof Uint8Array||t instanceof Uint8ClampedArray?t[n]=Math.floor(xs(t[n]/255)*255):t[n]=xs(t[n]);return{data:t,width:e.width,height:e.height}}else return Ye("ImageUtils.sRGBToLinear(): Unsupported image type. No color space conversion applied."),e}},aS=0,mo=class{constructor(e=null){this.isTextureSource=!0,Object.defineProperty(this,"id",{value:aS++}),this.uuid=$s(),this.data=e,this.dataReady=!0,this.version=0}getSize(e){let t=this.data;return typeof HTMLVideoElement<"u"&&t instanceof HTMLVideoElement?e.set(t.videoWidth,t.videoHeight,0):typeof VideoFrame<"u"&&t instanceof VideoFrame?e.set(t.displayWidth,t.displayHeight,0):t!==null?e.set(t.width||0,t.height||0,t.depth||0):e.set(0,0,0),e}set needsUpdate(e){e===!0&&this.version++}toJSON(e){let t=e===void 0||typeof e=="string";if(!t&&e.images[this.uuid]!==void 0)return e.images[this.uuid];let n={uuid:this.uuid,url:""},s=this.data;if(s!==null){let r;if(Array.isArray(s)){r=[];for(let o=0,a=s.length;o<a;o++)s[o].isDataTexture?r.push(md(s[o].image)):r.push(md(s[o]))}else r=md(s);n.url=r}return t||(e.images[this.uuid]=n),n}};function md(i){return typeof HTMLImageElement<"u"&&i instanceof HTMLImageElement||typeof HTMLCanvasElement<"u"&&i instanceof HTMLCanvasElement||typeof ImageBitmap<"u"&&i instanceof ImageBitmap?gc.getDataURL(i):i.data?{data:Array.from(i.data),width:i.width,height:i.height,type:i.data.constructor.name}:(Ye("Texture: Unable to serialize Texture."),{})}var lS=0,gd=new U,Kn=class i extends $i{constructor(e=i.DEFAULT_IMAGE,t=i.DEFAULT_MAPPING,n=Yi,s=Yi,r=$n,o=Ms,a=Oi,c=jn,l=i.DEFAULT_ANISOTROPY,u=As){super(),this.isTexture=!0,Object.defineProperty(this,"id",{value:lS++}),this.uuid=$s(),this.name="",this.source=new mo(e),this.mipmaps=[],this.mapping=t,this.channel=0,this.wrapS=n,this.wrapT=s,this.magFilter=r,this.minFilter=o,this.anisotropy=l,this.format=a,this.internalFormat=null,this.type=c,this.offset=new He(0,0),this.repeat=new He(1,1),this.center=new He(0,0),this.rotation=0,this.matrixAutoUpdate=!0,this.matrix=new tt,this.generateMipmaps=!0,this.mipmapsAutoUpdate=!0,this.premultiplyAlpha=!1,this.flipY=!0,this.unpackAlignment=4,this.colorSpace=u,this.userData={},this.updateRanges=[],this.version=0,this.onUpdate=null,this.renderTarget=null,this.isRenderTargetTexture=!1,this.isArrayTexture=!!(e&&e.depth&&e.depth>1),this.pmremVersion=0,this.isPMREMTexture=!1,this.normalized=!1}get width(){return this.source.getSize(gd).x}get height(){return this.source.getSize(gd).y}get depth(){return this.source.getSize(gd).z}get image(){return this.source.data}set image(e){this.source.data=e}updateMatrix(){this.matrix.setUvTransform(this.offset.x,this.offset.y,this.repeat.x,this.repeat.y,this.rotation,this.center.x,this.center.y)}addUpdateRange(e,t){this.updateRanges.push({start:e,count:t})}clearUpdateRanges(){this.updateRanges.length=0}clone(){return new this.constructor().copy(this)}copy(e){return this.name=e.name,this.source=e.source,this.mipmaps=e.mipmaps.slice(0),this.mapping=e.mapping,this.channel=e.channel,this.wrapS=e.wrapS,this.wrapT=e.wrapT,this.magFilter=e.magFilter,this.minFilter=e.minFilter,this.anisotropy=e.anisotropy,this.format=e.format,this.internalFormat=e.internalFormat,this.type=e.type,this.normalized=e.normalized,this.offset.copy(e.offset),this.repeat.copy(e.repeat),this.center.copy(e.center),this.rotation=e.rotation,this.matrixAutoUpdate=e.matrixAutoUpdate,this.matrix.copy(e.matrix),this.generateMipmaps=e.generateMipmaps,this.mipmapsAutoUpdate=e.mipmapsAutoUpdate,this.premultiplyAlpha=e.premultiplyAlpha,this.flipY=e.flipY,this.unpackAlignment=e.unpackAlignment,this.colorSpace=e.colorSpace,this.renderTarget=e.renderTarget,this.isRenderTargetTexture=e.isRenderTargetTexture,this.isPMREMTexture=e.isPMREMTexture,this.isArrayTexture=e.isArrayTexture,this.userData=JSON.parse(JSON.stringify(e.userData)),this.needsUpdate=!0,this}setValues(e){for(let t in e){let n=e[t];if(n===void 0){Ye(`Texture.setValues(): parameter '${t}' has value of undefined.`);continue}let s=this[t];if(s===void 0){Ye(`Texture.setValues(): property '${t}' does not exist.`);continue}s&&n&&s.isVector2&&n.isVector2||s&&n&&s.isVector3&&n.isVector3||s&&n&&s.isMatrix3&&n.isMatrix3?s.copy(n):this[t]=n}}toJSON(e){let t=e===void 0||typeof e=="string";if(!t&&e.textures[this.uuid]!==void 0)return e.textures[this.uuid];let n={metadata:{version:4.7,type:"Texture",generator:"Texture.toJSON"},uuid:this.uuid,name:this.name,image:this.source.toJSON(e).uuid,mapping:this.mapping,channel:this.channel,repeat:[this.repeat.x,this.repeat.y],offset:[this.offset.x,this.offset.y],center:[this.center.x,this.center.y],rotation:this.rotation,wrap:[this.wrapS,this.wrapT],format:this.format,internalFormat:this.internalFormat,type:this.type,normalized:this.normalized,colorSpace:this.colorSpace,minFilter:this.minFilter,magFilter:this.magFilter,anisotropy:this.anisotropy,flipY:this.flipY,generateMipmaps:this.generateMipmaps,mipmapsAutoUpdate:this.mipmapsAutoUpdate,premultiplyAlpha:this.premultiplyAlpha,unpackAlignment:this.unpackAlignment};return Object.keys(this.userData).length>0&&(n.userData=this.userData),t||(e.textures[this.uuid]=n),n}dispose(){this.dispatchEvent({type:"dispose"})}transformUv(e){if(this.mapping!==of)return e;if(e.applyMatrix3(this.matrix),e.x<0||e.x>1)switch(this.wrapS){case fc:e.x=e.x-Math.floor(e.x);break;case Yi:e.x=e.x<0?0:1;break;case pc:Math.abs(Math.floor(e.x)%2)===1?e.x=Math.ceil(e.x)-e.x:e.x=e.x-Math.floor(e.x);break}if(e.y<0||e.y>1)switch(this.wrapT){case fc:e.y=e.y-Math.floor(e.y);break;case Yi:e.y=e.y<0?0:1;break;case pc:Math.abs(Math.floor(e.y)%2)===1?e.y=Math.ceil(e.y)-e.y:e.y=e.y-Math.floor(e.y);break}return this.flipY&&(e.y=1-e.y),e}set needsUpdate(e){e===!0&&(this.version++,this.source.needsUpdate=!0)}set needsPMREMUpdate(e){e===!0&&this.pmremVersion++}};Kn.DEFAULT_IMAGE=null;Kn.DEFAULT_MAPPING=of;Kn.DEFAULT_ANISOTROPY=1;var Lf=class Lf{constructor(e=0,t=0,n=0,s=1){this.x=e,this.y=t,this.z=n,this.w=s}get width(){return this.z}set width(e){this.z=e}get height(){return this.w}set height(e){this.w=e}set(e,t,n,s){return this.x=e,this.y=t,this.z=n,this.w=s,this}setScalar(e){return this.x=e,this.y=e,this.z=e,this.w=e,this}setX(e){return this.x=e,this}setY(e){return this.y=e,this}setZ(e){return this.z=e,this}setW(e){return this.w=e,this}setComponent(e,t){switch(e){case 0:this.x=t;break;case 1:this.y=t;break;case 2:this.z=t;break;case 3:this.w=t;break;default:throw new Error("THREE.Vector4: index is out of range: "+e)}return this}getComponent(e){switch(e){case 0:return this.x;case 1:return this.y;case 2:return this.z;case 3:return this.w;default:throw new Error("THREE.Vector4: index is out of range: "+e)}}clone(){return new this.constructor(this.x,this.y,this.z,this.w)}copy(e){return this.x=e.x,this.y=e.y,this.z=e.z,this.w=e.w!==void 0?e.w:1,this}add(e){return this.x+=e.x,this.y+=e.y,this.z+=e.z,this.w+=e.w,this}addScalar(e){return this.x+=e,this.y+=e,this.z+=e,this.w+=e,this}addVectors(e,t){return this.x=e.x+t.x,this.y=e.y+t.y,this.z=e.z+t.z,this.w=e.w+t.w,this}addScaledVector(e,t){return this.x+=e.x*t,this.y+=e.y*t,this.z+=e.z*t,this.w+=e.w*t,this}sub(e){return this.x-=e.x,this.y-=e.y,this.z-=e.z,this.w-=e.w,this}subScalar(e){return this.x-=e,this.y-=e,this.z-=e,this.w-=e,this}subVectors(e,t){return this.x=e.x-t.x,this.y=e.y-t.y,this.z=e.z-t.z,this.w=e.w-t.w,this}multiply(e){return this.x*=e.x,this.y*=e.y,this.z*=e.z,this.w*=e.w,this}multiplyScalar(e){return this.x*=e,this.y*=e,this.z*=e,this.w*=e,this}applyMatrix4(e){let t=this.x,n=this.y,s=this.z,r=this.w,o=e.elements;return this.x=o[0]*t+o[4]*n+o[8]*s+o[12]*r,this.y=o[1]*t+o[5]*n+o[9]*s+o[13]*r,this.z=o[2]*t+o[6]*n+o[10]*s+o[14]*r,this.w=o[3]*t+o[7]*n+o[11]*s+o[15]*r,this}divide(e){return this.x/=e.x,this.y/=e.y,this.z/=e.z,this.w/=e.w,this}divideScalar(e){return this.multiplyScalar(1/e)}setAxisAngleFromQuaternion(e){this.w=2*Math.acos(e.w);let t=Math.sqrt(1-e.w*e.w);return t<1e-4?(this.x=1,this.y=0,this.z=0):(this.x=e.x/t,this.y=e.y/t,this.z=e.z/t),this}setAxisAngleFromRotationMatrix(e){let t,n,s,r,c=e.elements,l=c[0],u=c[4],h=c[8],d=c[1],f=c[5],g=c[9],y=c[2],m=c[6],p=c[10];if(Math.abs(u-d)<.01&&Math.abs(h-y)<.01&&Math.abs(g-m)<.01){if(Math.abs(u+d)<.1&&Math.abs(h+y)<.1&&Math.abs(g+m)<.1&&Math.abs(l+f+p-3)<.1)return this.set(1,0,0,0),this;t=Math.PI;let T=(l+1)/2,S=(f+1)/2,C=(p+1)/2,E=(u+d)/4,x=(h+y)/4,A=(g+m)/4;return T>S&&T>C?T<.01?(n=0,s=.707106781,r=.707106781):(n=Math.sqrt(T),s=E/n,r=x/n):S>C?S<.01?(n=.707106781,s=0,r=.707106781):(s=Math.sqrt(S),n=E/s,r=A/s):C<.01?(n=.707106781,s=.707106781,r=0):(r=Math.sqrt(C),n=x/r,s=A/r),this.set(n,s,r,t),this}let v=Math.sqrt((m-g)*(m-g)+(h-y)*(h-y)+(d-u)*(d-u));return Math.abs(v)<.001&&(v=1),this.x=(m-g)/v,this.y=(h-y)/v,this.z=(d-u)/v,this.w=Math.acos((l+f+p-1)/2),this}setFromMatrixPosition(e){let t=e.elements;return this.x=t[12],this.y=t[13],this.z=t[14],this.w=t[15],this}min(e){return this.x=Math.min(this.x,e.x),this.y=Math.min(this.y,e.y),this.z=Math.min(this.z,e.z),this.w=Math.min(this.w,e.w),this}max(e){return this.x=Math.max(this.x,e.x),this.y=Math.max(this.y,e.y),this.z=Math.max(this.z,e.z),this.w=Math.max(this.w,e.w),this}clamp(e,t){return this.x=ot(this.x,e.x,t.x),this.y=ot(this.y,e.y,t.y),this.z=ot(this.z,e.z,t.z),this.w=ot(this.w,e.w,t.w),this}clampScalar(e,t){return this.x=ot(this.x,e,t),this.y=ot(this.y,e,t),this.z=ot(this.z,e,t),this.w=ot(this.w,e,t),this}clampLength(e,t){let n=this.length();return this.divideScalar(n||1).multiplyScalar(ot(n,e,t))}floor(){return this.x=Math.floor(this.x),this.y=Math.floor(this.y),this.z=Math.floor(this.z),this.w=Math.floor(this.w),this}ceil(){return this.x=Math.ceil(this.x),this.y=Math.ceil(this.y),this.z=Math.ceil(this.z),this.w=Math.ceil(this.w),this}round(){return this.x=Math.round(this.x),this.y=Math.round(this.y),this.z=Math.round(this.z),this.w=Math.round(this.w),this}roundToZero(){return this.x=Math.trunc(this.x),this.y=Math.trunc(this.y),this.z=Math.trunc(this.z),this.w=Math.trunc(this.w),this}negate(){return this.x=-this.x,this.y=-this.y,this.z=-this.z,this.w=-this.w,this}dot(e){return this.x*e.x+this.y*e.y+this.z*e.z+this.w*e.w}lengthSq(){return this.x*this.x+this.y*this.y+this.z*this.z+this.w*this.w}length(){return Math.sqrt(this.x*this.x+this.y*this.y+this.z*this.z+this.w*this.w)}manhattanLength(){return Math.abs(this.x)+Math.abs(this.y)+Math.abs(this.z)+Math.abs(this.w)}normalize(){return this.divideScalar(this.length()||1)}setLength(e){return this.normalize().multiplyScalar(e)}lerp(e,t){return this.x+=(e.x-this.x)*t,this.y+=(e.y-this.y)*t,this.z+=(e.z-this.z)*t,this.w+=(e.w-this.w)*t,this}lerpVectors(e,t,n){return this.x=e.x+(t.x-e.x)*n,this.y=e.y+(t.y-e.y)*n,this.z=e.z+(t.z-e.z)*n,this.w=e.w+(t.w-e.w)*n,this}equals(e){return e.x===this.x&&e.y===this.y&&e.z===this.z&&e.w===this.w}fromArray(e,t=0){return this.x=e[t],this.y=e[t+1],this.z=e[t+2],this.w=e[t+3],this}toArray(e=[],t=0){return e[t]=this.x,e[t+1]=this.y,e[t+2]=this.z,e[t+3]=this.w,e}fromBufferAttribute(e,t){return this.x=e.getX(t),this.y=e.getY(t),this.z=e.getZ(t),this.w=e.getW(t),this}random(){return this.x=Math.random(),this.y=Math.random(),this.z=Math.random(),this.w=Math.random(),this}*[Symbol.iterator](){yield this.x,yield this.y,yield this.z,yield this.w}};Lf.prototype.isVector4=!0;var Et=Lf,_c=class extends $i{constructor(e=1,t=1,n={}){super(),n=Object.assign({generateMipmaps:!1,internalFormat:null,minFilter:$n,depthBuffer:!0,stencilBuffer:!1,resolveColorBuffer:!0,resolveDepthBuffer:!0,resolveStencilBuffer:!0,storeMultisampledColorBuffer:!0,storeMultisampledDepthBuffer:!0,storeMultisampledStencilBuffer:!0,depthTexture:null,samples:0,count:1,depth:1,multiview:!1,useArrayDepthTexture:!1},n),this.isRenderTarget=!0,this.width=e,this.height=t,this.depth=n.depth,this.scissor=new Et(0,0,e,t),this.scissorTest=!1,this.viewport=new Et(0,0,e,t),this.textures=[];let s=n.count;for(let r=0;r<s;r++)this.textures[r]=new Kn({width:e,height:t,depth:n.depth}),this.textures[r].isRenderTargetTexture=!0,this.textures[r].renderTarget=this;this._setTextureOptions(n),this.depthBuffer=n.depthBuffer,this.stencilBuffer=n.stencilBuffer,this.resolveColorBuffer=n.resolveColorBuffer,this.resolveDepthBuffer=n.resolveDepthBuffer,this.resolveStencilBuffer=n.resolveStencilBuffer,this.storeMultisampledColorBuffer=n.storeMultisampledColorBuffer,this.storeMultisampledDepthBuffer=n.storeMultisampledDepthBuffer,this.storeMultisampledStencilBuffer=n.storeMultisampledStencilBuffer,this._depthTexture=null,this.depthTexture=n.depthTexture,this.samples=n.samples,this.multiview=n.multiview,this.useArrayDepthTexture=n.useArrayDepthTexture}_setTextureOptions(e={}){let t={minFilter:$n,generateMipmaps:!1,flipY:!1,internalFormat:null};e.mapping!==void 0&&(t.mapping=e.mapping),e.wrapS!==void 0&&(t.wrapS=e.wrapS),e.wrapT!==void 0&&(t.wrapT=e.wrapT),e.wrapR!==void 0&&(t.wrapR=e.wrapR),e.magFilter!==void 0&&(t.magFilter=e.magFilter),e.minFilter!==void 0&&(t.minFilter=e.minFilter),e.format!==void 0&&(t.format=e.format),e.type!==void 0&&(t.type=e.type),e.anisotropy!==void 0&&(t.anisotropy=e.anisotropy),e.colorSpace!==void 0&&(t.colorSpace=e.colorSpace),e.flipY!==void 0&&(t.flipY=e.flipY),e.generateMipmaps!==void 0&&(t.generateMipmaps=e.generateMipmaps),e.mipmapsAutoUpdate!==void 0&&(t.mipmapsAutoUpdate=e.mipmapsAutoUpdate),e.internalFormat!==void 0&&(t.internalFormat=e.internalFormat);for(let n=0;n<this.textures.length;n++)this.textures[n].setValues(t)}get texture(){return this.textures[0]}set texture(e){this.textures[0]=e}set depthTexture(e){this._depthTexture!==null&&this._depthTexture.renderTarget===this&&(this._depthTexture.renderTarget=null),e!==null&&e.renderTarget===null&&(e.renderTarget=this),this._depthTexture=e}get depthTexture(){return this._depthTexture}setSize(e,t,n=1){if(this.width!==e||this.height!==t||this.depth!==n){this.width=e,this.height=t,this.depth=n;for(let s=0,r=this.textures.length;s<r;s++)this.textures[s].image.width=e,this.textures[s].image.height=t,this.textures[s].image.depth=n,this.textures[s].isData3DTexture!==!0&&(this.textures[s].isArrayTexture=this.textures[s].image.depth>1);this.dispose()}this.viewport.set(0,0,e,t),this.scissor.set(0,0,e,t)}clone(){return new this.constructor().copy(this)}copy(e){this.width=e.width,this.height=e.height,this.depth=e.depth,this.scissor.copy(e.scissor),this.scissorTest=e.scissorTest,this.viewport.copy(e.viewport),this.textures.length=0;for(let t=0,n=e.textures.length;t<n;t++){this.textures[t]=e.textures[t].clone(),this.textures[t].isRenderTargetTexture=!0,this.textures[t].renderTarget=this;let s=Object.assign({},e.textures[t].image);this.textures[t].source=new mo(s)}if(this.depthBuffer=e.depthBuffer,this.stencilBuffer=e.stencilBuffer,this.resolveColorBuffer=e.resolveColorBuffer,this.resolveDepthBuffer=e.resolveDepthBuffer,this.resolveStencilBuffer=e.resolveStencilBuffer,this.storeMultisampledColorBuffer=e.storeMultisampledColorBuffer,this.storeMultisampledDepthBuffer=e.storeMultisampledDepthBuffer,this.storeMultisampledStencilBuffer=e.storeMultisampledStencilBuffer,e.depthTexture!==null)if(e.depthTexture.renderTarget===e){let t=e.depthTexture.clone();t.renderTarget=null,this.depthTexture=t}else this.depthTexture=e.depthTexture;else this.depthTexture=null;return this.samples=e.samples,this.multiview=e.multiview,this.useArrayDepthTexture=e.useArrayDepthTexture,this}dispose(){this.dispatchEvent({type:"dispose"})}},di=class extends _c{constructor(e=1,t=1,n={}){super(e,t,n),this.isWebGLRenderTarget=!0}},da=class extends Kn{constructor(e=null,t=1,n=1,s=1){super(null),this.isDataArrayTexture=!0,this.image={data:e,width:t,height:n,depth:s},this.magFilter=Tn,this.minFilter=Tn,this.wrapR=Yi,this.generateMipmaps=!1,this.flipY=!1,this.unpackAlignment=1,this.layerUpdates=new Set}copy(e){return super.copy(e),this.wrapR=e.wrapR,this}addLayerUpdate(e){this.layerUpdates.add(e)}clearLayerUpdates(){this.layerUpdates.clear()}};var xc=class extends Kn{constructor(e=null,t=1,n=1,s=1){super(null),this.isData3DTexture=!0,this.image={data:e,width:t,height:n,depth:s},this.magFilter=Tn,this.minFilter=Tn,this.wrapR=Yi,this.generateMipmaps=!1,this.flipY=!1,this.unpackAlignment=1}copy(e){return super.copy(e),this.wrapR=e.wrapR,this}};var $c=class $c{constructor(e,t,n,s,r,o,a,c,l,u,h,d,f,g,y,m){this.elements=[1,0,0,0,0,1,0,0,0,0,1,0,0,0,0,1],e!==void 0&&this.set(e,t,n,s,r,o,a,c,l,u,h,d,f,g,y,m)}set(e,t,n,s,r,o,a,c,l,u,h,d,f,g,y,m){let p=this.elements;return p[0]=e,p[4]=t,p[8]=n,p[12]=s,p[1]=r,p[5]=o,p[9]=a,p[13]=c,p[2]=l,p[6]=u,p[10]=h,p[14]=d,p[3]=f,p[7]=g,p[11]=y,p[15]=m,this}identity(){return this.set(1,0,0,0,0,1,0,0,0,0,1,0,0,0,0,1),this}clone(){return new $c().fromArray(this.elements)}copy(e){let t=this.elements,n=e.elements;return t[0]=n[0],t[1]=n[1],t[2]=n[2],t[3]=n[3],t[4]=n[4],t[5]=n[5],t[6]=n[6],t[7]=n[7],t[8]=n[8],t[9]=n[9],t[10]=n[10],t[11]=n[11],t[12]=n[12],t[13]=n[13],t[14]=n[14],t[15]=n[15],this}copyPosition(e){let t=this.elements,n=e.elements;return t[12]=n[12],t[13]=n[13],t[14]=n[14],this}setFromMatrix3(e){let t=e.elements;return this.set(t[0],t[3],t[6],0,t[1],t[4],t[7],0,t[2],t[5],t[8],0,0,0,0,1),this}extractBasis(e,t,n){return this.determinantAffine()===0?(e.set(1,0,0),t.set(0,1,0),n.set(0,0,1),this):(e.setFromMatrixColumn(this,0),t.setFromMatrixColumn(this,1),n.setFromMatrixColumn(this,2),this)}makeBasis(e,t,n){return this.set(e.x,t.x,n.x,0,e.y,t.y,n.y,0,e.z,t.z,n.z,0,0,0,0,1),this}extractRotation(e){if(e.determinantAffine()===0)return this.identity();let t=this.elements,n=e.elements,s=1/$r.setFromMatrixColumn(e,0).length(),r=1/$r.setFromMatrixColumn(e,1).length(),o=1/$r.setFromMatrixColumn(e,2).length();return t[0]=n[0]*s,t[1]=n[1]*s,t[2]=n[2]*s,t[3]=0,t[4]=n[4]*r,t[5]=n[5]*r,t[6]=n[6]*r,t[7]=0,t[8]=n[8]*o,t[9]=n[9]*o,t[10]=n[10]*o,t[11]=0,t[12]=0,t[13]=0,t[14]=0,t[15]=1,this}makeRotationFromEuler(e){let t=this.elements,n=e.x,s=e.y,r=e.z,o=Math.cos(n),a=Math.sin(n),c=Math.cos(s),l=Math.sin(s),u=Math.cos(r),h=Math.sin(r);if(e.order==="XYZ"){let d=o*u,f=o*h,g=a*u,y=a*h;t[0]=c*u,t[4]=-c*h,t[8]=l,t[1]=f+g*l,t[5]=d-y*l,t[9]=-a*c,t[2]=y-d*l,t[6]=g+f*l,t[10]=o*c}else if(e.order==="YXZ"){let d=c*u,f=c*h,g=l*u,y=l*h;t[0]=d+y*a,t[4]=g*a-f,t[8]=o*l,t[1]=o*h,t[5]=o*u,t[9]=-a,t[2]=f*a-g,t[6]=y+d*a,t[10]=o*c}else if(e.order==="ZXY"){let d=c*u,f=c*h,g=l*u,y=l*h;t[0]=d-y*a,t[4]=-o*h,t[8]=g+f*a,t[1]=f+g*a,t[5]=o*u,t[9]=y-d*a,t[2]=-o*l,t[6]=a,t[10]=o*c}else if(e.order==="ZYX"){let d=o*u,f=o*h,g=a*u,y=a*h;t[0]=c*u,t[4]=g*l-f,t[8]=d*l+y,t[1]=c*h,t[5]=y*l+d,t[9]=f*l-g,t[2]=-l,t[6]=a*c,t[10]=o*c}else if(e.order==="YZX"){let d=o*c,f=o*l,g=a*c,y=a*l;t[0]=c*u,t[4]=y-d*h,t[8]=g*h+f,t[1]=h,t[5]=o*u,t[9]=-a*u,t[2]=-l*u,t[6]=f*h+g,t[10]=d-y*h}else if(e.order==="XZY"){let d=o*c,f=o*l,g=a*c,y=a*l;t[0]=c*u,t[4]=-h,t[8]=l*u,t[1]=d*h+y,t[5]=o*u,t[9]=f*h-g,t[2]=g*h-f,t[6]=a*u,t[10]=y*h+d}return t[3]=0,t[7]=0,t[11]=0,t[12]=0,t[13]=0,t[14]=0,t[15]=1,this}makeRotationFromQuaternion(e){return this.compose(cS,e,hS)}lookAt(e,t,n){let s=this.elements;return ai.subVectors(e,t),ai.lengthSq()===0&&(ai.z=1),ai.normalize(),Us.crossVectors(n,ai),Us.lengthSq()===0&&(Math.abs(n.z)===1?ai.x+=1e-4:ai.z+=1e-4,ai.normalize(),Us.crossVectors(n,ai)),Us.normalize(),Ll.crossVectors(ai,Us),s[0]=Us.x,s[4]=Ll.x,s[8]=ai.x,s[1]=Us.y,s[5]=Ll.y,s[9]=ai.y,s[2]=Us.z,s[6]=Ll.z,s[10]=ai.z,this}multiply(e){return this.multiplyMatrices(this,e)}premultiply(e){return this.multiplyMatrices(e,this)}multiplyMatrices(e,t){let n=e.elements,s=t.elements,r=this.elements,o=n[0],a=n[4],c=n[8],l=n[12],u=n[1],h=n[5],d=n[9],f=n[13],g=n[2],y=n[6],m=n[10],p=n[14],v=n[3],T=n[7],S=n[11],C=n[15],E=s[0],x=s[4],A=s[8],F=s[12],L=s[1],I=s[5],k=s[9],V=s[13],N=s[2],W=s[6],$=s[10],H=s[14],ce=s[3],K=s[7],Q=s[11],se=s[15];return r[0]=o*E+a*L+c*N+l*ce,r[4]=o*x+a*I+c*W+l*K,r[8]=o*A+a*k+c*$+l*Q,r[12]=o*F+a*V+c*H+l*se,r[1]=u*E+h*L+d*N+f*ce,r[5]=u*x+h*I+d*W+f*K,r[9]=u*A+h*k+d*$+f*Q,r[13]=u*F+h*V+d*H+f*se,r[2]=g*E+y*L+m*N+p*ce,r[6]=g*x+y*I+m*W+p*K,r[10]=g*A+y*k+m*$+p*Q,r[14]=g*F+y*V+m*H+p*se,r[3]=v*E+T*L+S*N+C*ce,r[7]=v*x+T*I+S*W+C*K,r[11]=v*A+T*k+S*$+C*Q,r[15]=v*F+T*V+S*H+C*se,this}multiplyScalar(e){let t=this.elements;return t[0]*=e,t[4]*=e,t[8]*=e,t[12]*=e,t[1]*=e,t[5]*=e,t[9]*=e,t[13]*=e,t[2]*=e,t[6]*=e,t[10]*=e,t[14]*=e,t[3]*=e,t[7]*=e,t[11]*=e,t[15]*=e,this}determinant(){let e=this.elements,t=e[0],n=e[4],s=e[8],r=e[12],o=e[1],a=e[5],c=e[9],l=e[13],u=e[2],h=e[6],d=e[10],f=e[14],g=e[3],y=e[7],m=e[11],p=e[15],v=c*f-l*d,T=a*f-l*h,S=a*d-c*h,C=o*f-l*u,E=o*d-c*u,x=o*h-a*u;return t*(y*v-m*T+p*S)-n*(g*v-m*C+p*E)+s*(g*T-y*C+p*x)-r*(g*S-y*E+m*x)}determinantAffine(){let e=this.elements,t=e[0],n=e[4],s=e[8],r=e[1],o=e[5],a=e[9],c=e[2],l=e[6],u=e[10];return t*(o*u-a*l)-n*(r*u-a*c)+s*(r*l-o*c)}transpose(){let e=this.elements,t;return t=e[1],e[1]=e[4],e[4]=t,t=e[2],e[2]=e[8],e[8]=t,t=e[6],e[6]=e[9],e[9]=t,t=e[3],e[3]=e[12],e[12]=t,t=e[7],e[7]=e[13],e[13]=t,t=e[11],e[11]=e[14],e[14]=t,this}setPosition(e,t,n){let s=this.elements;return e.isVector3?(s[12]=e.x,s[13]=e.y,s[14]=e.z):(s[12]=e,s[13]=t,s[14]=n),this}invert(){let e=this.elements,t=e[0],n=e[1],s=e[2],r=e[3],o=e[4],a=e[5],c=e[6],l=e[7],u=e[8],h=e[9],d=e[10],f=e[11],g=e[12],y=e[13],m=e[14],p=e[15],v=t*a-n*o,T=t*c-s*o,S=t*l-r*o,C=n*c-s*a,E=n*l-r*a,x=s*l-r*c,A=u*y-h*g,F=u*m-d*g,L=u*p-f*g,I=h*m-d*y,k=h*p-f*y,V=d*p-f*m,N=v*V-T*k+S*I+C*L-E*F+x*A;if(N===0)return this.set(0,0,0,0,0,0,0,0,0,0,0,0,0,0,0,0);let W=1/N;return e[0]=(a*V-c*k+l*I)*W,e[1]=(s*k-n*V-r*I)*W,e[2]=(y*x-m*E+p*C)*W,e[3]=(d*E-h*x-f*C)*W,e[4]=(c*L-o*V-l*F)*W,e[5]=(t*V-s*L+r*F)*W,e[6]=(m*S-g*x-p*T)*W,e[7]=(u*x-d*S+f*T)*W,e[8]=(o*k-a*L+l*A)*W,e[9]=(n*L-t*k-r*A)*W,e[10]=(g*E-y*S+p*v)*W,e[11]=(h*S-u*E-f*v)*W,e[12]=(a*F-o*I-c*A)*W,e[13]=(t*I-n*F+s*A)*W,e[14]=(y*T-g*C-m*v)*W,e[15]=(u*C-h*T+d*v)*W,this}scale(e){let t=this.elements,n=e.x,s=e.y,r=e.z;return t[0]*=n,t[4]*=s,t[8]*=r,t[1]*=n,t[5]*=s,t[9]*=r,t[2]*=n,t[6]*=s,t[10]*=r,t[3]*=n,t[7]*=s,t[11]*=r,this}getMaxScaleOnAxis(){let e=this.elements,t=e[0]*e[0]+e[1]*e[1]+e[2]*e[2],n=e[4]*e[4]+e[5]*e[5]+e[6]*e[6],s=e[8]*e[8]+e[9]*e[9]+e[10]*e[10];return Math.sqrt(Math.max(t,n,s))}makeTranslation(e,t,n){return e.isVector3?this.set(1,0,0,e.x,0,1,0,e.y,0,0,1,e.z,0,0,0,1):this.set(1,0,0,e,0,1,0,t,0,0,1,n,0,0,0,1),this}makeRotationX(e){let t=Math.cos(e),n=Math.sin(e);return this.set(1,0,0,0,0,t,-n,0,0,n,t,0,0,0,0,1),this}makeRotationY(e){let t=Math.cos(e),n=Math.sin(e);return this.set(t,0,n,0,0,1,0,0,-n,0,t,0,0,0,0,1),this}makeRotationZ(e){let t=Math.cos(e),n=Math.sin(e);return this.set(t,-n,0,0,n,t,0,0,0,0,1,0,0,0,0,1),this}makeRotationAxis(e,t){let n=Math.cos(t),s=Math.sin(t),r=1-n,o=e.x,a=e.y,c=e.z,l=r*o,u=r*a;return this.set(l*o+n,l*a-s*c,l*c+s*a,0,l*a+s*c,u*a+n,u*c-s*o,0,l*c-s*a,u*c+s*o,r*c*c+n,0,0,0,0,1),this}makeScale(e,t,n){return this.set(e,0,0,0,0,t,0,0,0,0,n,0,0,0,0,1),this}makeShear(e,t,n,s,r,o){return this.set(1,n,r,0,e,1,o,0,t,s,1,0,0,0,0,1),this}compose(e,t,n){let s=this.elements,r=t._x,o=t._y,a=t._z,c=t._w,l=r+r,u=o+o,h=a+a,d=r*l,f=r*u,g=r*h,y=o*u,m=o*h,p=a*h,v=c*l,T=c*u,S=c*h,C=n.x,E=n.y,x=n.z;return s[0]=(1-(y+p))*C,s[1]=(f+S)*C,s[2]=(g-T)*C,s[3]=0,s[4]=(f-S)*E,s[5]=(1-(d+p))*E,s[6]=(m+v)*E,s[7]=0,s[8]=(g+T)*x,s[9]=(m-v)*x,s[10]=(1-(d+y))*x,s[11]=0,s[12]=e.x,s[13]=e.y,s[14]=e.z,s[15]=1,this}decompose(e,t,n){let s=this.elements;e.x=s[12],e.y=s[13],e.z=s[14];let r=this.determinantAffine();if(r===0)return n.set(1,1,1),t.identity(),this;let o=$r.set(s[0],s[1],s[2]).length(),a=$r.set(s[4],s[5],s[6]).length(),c=$r.set(s[8],s[9],s[10]).length();r<0&&(o=-o),Ci.copy(this);let l=1/o,u=1/a,h=1/c;return Ci.elements[0]*=l,Ci.elements[1]*=l,Ci.elements[2]*=l,Ci.elements[4]*=u,Ci.elements[5]*=u,Ci.elements[6]*=u,Ci.elements[8]*=h,Ci.elements[9]*=h,Ci.elements[10]*=h,t.setFromRotationMatrix(Ci),n.x=o,n.y=a,n.z=c,this}makePerspective(e,t,n,s,r,o,a=yi,c=!1){let l=this.elements,u=2*r/(t-e),h=2*r/(n-s),d=(t+e)/(t-e),f=(n+s)/(n-s),g,y;if(c)g=r/(o-r),y=o*r/(o-r);else if(a===yi)g=-(o+r)/(o-r),y=-2*o*r/(o-r);else if(a===uo)g=-o/(o-r),y=-o*r/(o-r);else throw new Error("THREE.Matrix4.makePerspective(): Invalid coordinate system: "+a);return l[0]=u,l[4]=0,l[8]=d,l[12]=0,l[1]=0,l[5]=h,l[9]=f,l[13]=0,l[2]=0,l[6]=0,l[10]=g,l[14]=y,l[3]=0,l[7]=0,l[11]=-1,l[15]=0,this}makeOrthographic(e,t,n,s,r,o,a=yi,c=!1){let l=this.elements,u=2/(t-e),h=2/(n-s),d=-(t+e)/(t-e),f=-(n+s)/(n-s),g,y;if(c)g=1/(o-r),y=o/(o-r);else if(a===yi)g=-2/(o-r),y=-(o+r)/(o-r);else if(a===uo)g=-1/(o-r),y=-r/(o-r);else throw new Error("THREE.Matrix4.makeOrthographic(): Invalid coordinate system: "+a);return l[0]=u,l[4]=0,l[8]=0,l[12]=d,l[1]=0,l[5]=h,l[9]=0,l[13]=f,l[2]=0,l[6]=0,l[10]=g,l[14]=y,l[3]=0,l[7]=0,l[11]=0,l[15]=1,this}equals(e){let t=this.elements,n=e.elements;for(let s=0;s<16;s++)if(t[s]!==n[s])return!1;return!0}fromArray(e,t=0){for(let n=0;n<16;n++)this.elements[n]=e[n+t];return this}toArray(e=[],t=0){let n=this.elements;return e[t]=n[0],e[t+1]=n[1],e[t+2]=n[2],e[t+3]=n[3],e[t+4]=n[4],e[t+5]=n[5],e[t+6]=n[6],e[t+7]=n[7],e[t+8]=n[8],e[t+9]=n[9],e[t+10]=n[10],e[t+11]=n[11],e[t+12]=n[12],e[t+13]=n[13],e[t+14]=n[14],e[t+15]=n[15],e}};$c.prototype.isMatrix4=!0;var Dt=$c,$r=new U,Ci=new Dt,cS=new U(0,0,0),hS=new U(1,1,1),Us=new U,Ll=new U,ai=new U,qg=new Dt,Yg=new Zi,vs=class i{constructor(e=0,t=0,n=0,s=i.DEFAULT_ORDER){this.isEuler=!0,this._x=e,this._y=t,this._z=n,this._order=s}get x(){return this._x}set x(e){this._x=e,this._onChangeCallback()}get y(){return this._y}set y(e){this._y=e,this._onChangeCallback()}get z(){return this._z}set z(e){this._z=e,this._onChangeCallback()}get order(){return this._order}set order(e){this._order=e,this._onChangeCallback()}set(e,t,n,s=this._order){return this._x=e,this._y=t,this._z=n,this._order=s,this._onChangeCallback(),this}clone(){return new this.constructor(this._x,this._y,this._z,this._order)}copy(e){return this._x=e._x,this._y=e._y,this._z=e._z,this._order=e._order,this._onChangeCallback(),this}setFromRotationMatrix(e,t=this._order,n=!0){let s=e.elements,r=s[0],o=s[4],a=s[8],c=s[1],l=s[5],u=s[9],h=s[2],d=s[6],f=s[10];switch(t){case"XYZ":this._y=Math.asin(ot(a,-1,1)),Math.abs(a)<.9999999?(this._x=Math.atan2(-u,f),this._z=Math.atan2(-o,r)):(this._x=Math.atan2(d,l),this._z=0);break;case"YXZ":this._x=Math.asin(-ot(u,-1,1)),Math.abs(u)<.9999999?(this._y=Math.atan2(a,f),this._z=Math.atan2(c,l)):(this._y=Math.atan2(-h,r),this._z=0);break;case"ZXY":this._x=Math.asin(ot(d,-1,1)),Math.abs(d)<.9999999?(this._y=Math.atan2(-h,f),this._z=Math.atan2(-o,l)):(this._y=0,this._z=Math.atan2(c,r));break;case"ZYX":this._y=Math.asin(-ot(h,-1,1)),Math.abs(h)<.9999999?(this._x=Math.atan2(d,f),this._z=Math.atan2(c,r)):(this._x=0,this._z=Math.atan2(-o,l));break;case"YZX":this._z=Math.asin(ot(c,-1,1)),Math.abs(c)<.9999999?(this._x=Math.atan2(-u,l),this._y=Math.atan2(-h,r)):(this._x=0,this._y=Math.atan2(a,f));break;case"XZY":this._z=Math.asin(-ot(o,-1,1)),Math.abs(o)<.9999999?(this._x=Math.atan2(d,l),this._y=Math.atan2(a,r)):(this._x=Math.atan2(-u,f),this._y=0);break;default:Ye("Euler: .setFromRotationMatrix() encountered an unknown order: "+t)}return this._order=t,n===!0&&this._onChangeCallback(),this}setFromQuaternion(e,t,n){return qg.makeRotationFromQuaternion(e),this.setFromRotationMatrix(qg,t,n)}setFromVector3(e,t=this._order){return this.set(e.x,e.y,e.z,t)}reorder(e){return Yg.setFromEuler(this),this.setFromQuaternion(Yg,e)}equals(e){return e._x===this._x&&e._y===this._y&&e._z===this._z&&e._order===this._order}fromArray(e){return this._x=e[0],this._y=e[1],this._z=e[2],e[3]!==void 0&&(this._order=e[3]),this._onChangeCallback(),this}toArray(e=[],t=0){return e[t]=this._x,e[t+1]=this._y,e[t+2]=this._z,e[t+3]=this._order,e}_onChange(e){return this._onChangeCallback=e,this}_onChangeCallback(){}*[Symbol.iterator](){yield this._x,yield this._y,yield this._z,yield this._order}};vs.DEFAULT_ORDER="XYZ";var fa=class{constructor(){this.mask=1}set(e){this.mask=(1<<e|0)>>>0}enable(e){this.mask|=1<<e|0}enableAll(){this.mask=-1}toggle(e){this.mask^=1<<e|0}disable(e){this.mask&=~(1<<e|0)}disableAll(){this.mask=0}test(e){return(this.mask&e.mask)!==0}isEnabled(e){return(this.mask&(1<<e|0))!==0}},uS=0,$g=new U,Zr=new Zi,ds=new Dt,Dl=new U,jo=new U,dS=new U,fS=new Zi,Zg=new U(1,0,0),Jg=new U(0,1,0),Kg=new U(0,0,1),jg={type:"added"},pS={type:"removed"},Jr={type:"childadded",child:null},_d={type:"childremoved",child:null},In=class i extends $i{constructor(){super(),this.isObject3D=!0,Object.defineProperty(this,"id",{value:uS++}),this.uuid=$s(),this.name="",this.type="Object3D",this.parent=null,this.children=[],this.up=i.DEFAULT_UP.clone();let e=new U,t=new vs,n=new Zi,s=new U(1,1,1);function r(){n.setFromEuler(t,!1)}function o(){t.setFromQuaternion(n,void 0,!1)}t._onChange(r),n._onChange(o),Object.defineProperties(this,{position:{configurable:!0,enumerable:!0,value:e},rotation:{configurable:!0,enumerable:!0,value:t},quaternion:{configurable:!0,enumerable:!0,value:n},scale:{configurable:!0,enumerable:!0,value:s},modelViewMatrix:{value:new Dt},normalMatrix:{value:new tt}}),this.matrix=new Dt,this.matrixWorld=new Dt,this.matrixAutoUpdate=i.DEFAULT_MATRIX_AUTO_UPDATE,this.matrixWorldAutoUpdate=i.DEFAULT_MATRIX_WORLD_AUTO_UPDATE,this.matrixWorldNeedsUpdate=!1,this.layers=new fa,this.visible=!0,this.castShadow=!1,this.receiveShadow=!1,this.frustumCulled=!0,this.renderOrder=0,this.animations=[],this.customDepthMaterial=void 0,this.customDistanceMaterial=void 0,this.static=!1,this.userData={},this.pivot=null}onBeforeShadow(){}onAfterShadow(){}onBeforeRender(){}onAfterRender(){}applyMatrix4(e){this.matrixAutoUpdate&&this.updateMatrix(),this.matrix.premultiply(e),this.matrix.decompose(this.position,this.quaternion,this.scale),this.pivot!==null&&this.position.copy(this.pivot).applyMatrix4(this.matrix).sub(this.pivot)}applyQuaternion(e){return this.quaternion.premultiply(e),this}setRotationFromAxisAngle(e,t){this.quaternion.setFromAxisAngle(e,t)}setRotationFromEuler(e){this.quaternion.setFromEuler(e,!0)}setRotationFromMatrix(e){this.quaternion.setFromRotationMatrix(e)}setRotationFromQuaternion(e){this.quaternion.copy(e)}rotateOnAxis(e,t){return Zr.setFromAxisAngle(e,t),this.quaternion.multiply(Zr),this}rotateOnWorldAxis(e,t){return Zr.setFromAxisAngle(e,t),this.quaternion.premultiply(Zr),this}rotateX(e){return this.rotateOnAxis(Zg,e)}rotateY(e){return this.rotateOnAxis(Jg,e)}rotateZ(e){return this.rotateOnAxis(Kg,e)}translateOnAxis(e,t){return $g.copy(e).applyQuaternion(this.quaternion),this.position.add($g.multiplyScalar(t)),this}translateX(e){return this.translateOnAxis(Zg,e)}translateY(e){return this.translateOnAxis(Jg,e)}translateZ(e){return this.translateOnAxis(Kg,e)}localToWorld(e){return this.updateWorldMatrix(!0,!1),e.applyMatrix4(this.matrixWorld)}worldToLocal(e){return this.updateWorldMatrix(!0,!1),e.applyMatrix4(ds.copy(this.matrixWorld).invert())}lookAt(e,t,n){e.isVector3?Dl.copy(e):Dl.set(e,t,n);let s=this.parent;this.updateWorldMatrix(!0,!1),jo.setFromMatrixPosition(this.matrixWorld),this.isCamera||this.isLight?ds.lookAt(jo,Dl,this.up):ds.lookAt(Dl,jo,this.up),this.quaternion.setFromRotationMatrix(ds),s&&(ds.extractRotation(s.matrixWorld),Zr.setFromRotationMatrix(ds),this.quaternion.premultiply(Zr.invert()))}add(e){if(arguments.length>1){for(let t=0;t<arguments.length;t++)this.add(arguments[t]);return this}return e===this?(et("Object3D.add: object can't be added as a child of itself.",e),this):(e&&e.isObject3D?(e.removeFromParent(),e.parent=this,this.children.push(e),e.dispatchEvent(jg),Jr.child=e,this.dispatchEvent(Jr),Jr.child=null):et("Object3D.add: object not an instance of THREE.Object3D.",e),this)}remove(e){if(arguments.length>1){for(let n=0;n<arguments.length;n++)this.remove(arguments[n]);return this}let t=this.children.indexOf(e);return t!==-1&&(e.parent=null,this.children.splice(t,1),e.dispatchEvent(pS),_d.child=e,this.dispatchEvent(_d),_d.child=null),this}removeFromParent(){let e=this.parent;return e!==null&&e.remove(this),this}clear(){return this.remove(...this.children)}attach(e){return this.updateWorldMatrix(!0,!1),ds.copy(this.matrixWorld).invert(),e.parent!==null&&(e.parent.updateWorldMatrix(!0,!1),ds.multiply(e.parent.matrixWorld)),e.applyMatrix4(ds),e.removeFromParent(),e.parent=this,this.children.push(e),e.updateWorldMatrix(!1,!0),e.dispatchEvent(jg),Jr.child=e,this.dispatchEvent(Jr),Jr.child=null,this}getObjectById(e){return this.getObjectByProperty("id",e)}getObjectByName(e){return this.getObjectByProperty("name",e)}getObjectByProperty(e,t){if(this[e]===t)return this;for(let n=0,s=this.children.length;n<s;n++){let o=this.children[n].getObjectByProperty(e,t);if(o!==void 0)return o}}getObjectsByProperty(e,t,n=[]){this[e]===t&&n.push(this);let s=this.children;for(let r=0,o=s.length;r<o;r++)s[r].getObjectsByProperty(e,t,n);return n}getWorldPosition(e){return this.updateWorldMatrix(!0,!1),e.setFromMatrixPosition(this.matrixWorld)}getWorldQuaternion(e){return this.updateWorldMatrix(!0,!1),this.matrixWorld.decompose(jo,e,dS),e}getWorldScale(e){return this.updateWorldMatrix(!0,!1),this.matrixWorld.decompose(jo,fS,e),e}getWorldDirection(e){this.updateWorldMatrix(!0,!1);let t=this.matrixWorld.elements;return e.set(t[8],t[9],t[10]).normalize()}raycast(){}intersectsFrustum(){return!0}traverse(e){e(this);let t=this.children;for(let n=0,s=t.length;n<s;n++)t[n].traverse(e)}traverseVisible(e){if(this.visible===!1)return;e(this);let t=this.children;for(let n=0,s=t.length;n<s;n++)t[n].traverseVisible(e)}traverseAncestors(e){let t=this.parent;t!==null&&(e(t),t.traverseAncestors(e))}updateMatrix(){this.matrix.compose(this.position,this.quaternion,this.scale);let e=this.pivot;if(e!==null){let t=e.x,n=e.y,s=e.z,r=this.matrix.elements;r[12]+=t-r[0]*t-r[4]*n-r[8]*s,r[13]+=n-r[1]*t-r[5]*n-r[9]*s,r[14]+=s-r[2]*t-r[6]*n-r[10]*s}this.matrixWorldNeedsUpdate=!0}updateMatrixWorld(e){this.matrixAutoUpdate&&this.updateMatrix(),(this.matrixWorldNeedsUpdate||e)&&(this.matrixWorldAutoUpdate===!0&&(this.parent===null?this.matrixWorld.copy(this.matrix):this.matrixWorld.multiplyMatrices(this.parent.matrixWorld,this.matrix)),this.matrixWorldNeedsUpdate=!1,e=!0);let t=this.children;for(let n=0,s=t.length;n<s;n++)t[n].updateMatrixWorld(e)}updateWorldMatrix(e,t,n=!1){let s=this.parent;if(e===!0&&s!==null&&s.updateWorldMatrix(!0,!1),this.matrixAutoUpdate&&this.updateMatrix(),(this.matrixWorldNeedsUpdate||n)&&(this.matrixWorldAutoUpdate===!0&&(this.parent===null?this.matrixWorld.copy(this.matrix):this.matrixWorld.multiplyMatrices(this.parent.matrixWorld,this.matrix)),this.matrixWorldNeedsUpdate=!1,n=!0),t===!0){let r=this.children;for(let o=0,a=r.length;o<a;o++)r[o].updateWorldMatrix(!1,!0,n)}}toJSON(e){let t=e===void 0||typeof e=="string",n={};t&&(e={geometries:{},materials:{},textures:{},images:{},shapes:{},skeletons:{},animations:{},nodes:{}},n.metadata={version:4.7,type:"Object",generator:"Object3D.toJSON"});let s={};s.uuid=this.uuid,s.type=this.type,s.name=this.name,s.castShadow=this.castShadow,s.receiveShadow=this.receiveShadow,s.visible=this.visible,s.frustumCulled=this.frustumCulled,s.renderOrder=this.renderOrder,s.static=this.static,s.matrixAutoUpdate=this.matrixAutoUpdate,Object.keys(this.userData).length>0&&(s.userData=this.userData),s.layers=this.layers.mask,s.matrix=this.matrix.toArray(),s.up=this.up.toArray(),this.pivot!==null&&(s.pivot=this.pivot.toArray()),this.morphTargetDictionary!==void 0&&(s.morphTargetDictionary=Object.assign({},this.morphTargetDictionary)),this.morphTargetInfluences!==void 0&&(s.morphTargetInfluences=this.morphTargetInfluences.slice()),this.isInstancedMesh&&(s.type="InstancedMesh",s.count=this.count,s.instanceMatrix=this.instanceMatrix.toJSON(),this.instanceColor!==null&&(s.instanceColor=this.instanceColor.toJSON())),this.isBatchedMesh&&(s.type="BatchedMesh",s.perObjectFrustumCulled=this.perObjectFrustumCulled,s.sortObjects=this.sortObjects,s.drawRanges=this._drawRanges,s.reservedRanges=this._reservedRanges,s.geometryInfo=this._geometryInfo.map(a=>({...a,boundingBox:a.boundingBox?a.boundingBox.toJSON():void 0,boundingSphere:a.boundingSphere?a.boundingSphere.toJSON():void 0})),s.instanceInfo=this._instanceInfo.map(a=>({...a})),s.availableInstanceIds=this._availableInstanceIds.slice(),s.availableGeometryIds=this._availableGeometryIds.slice(),s.nextIndexStart=this._nextIndexStart,s.nextVertexStart=this._nextVertexStart,s.geometryCount=this._geometryCount,s.maxInstanceCount=this._maxInstanceCount,s.maxVertexCount=this._maxVertexCount,s.maxIndexCount=this._maxIndexCount,s.geometryInitialized=this._geometryInitialized,s.matricesTexture=this._matricesTexture.toJSON(e),s.indirectTexture=this._indirectTexture.toJSON(e),this._colorsTexture!==null&&(s.colorsTexture=this._colorsTexture.toJSON(e)),this.boundingSphere!==null&&(s.boundingSphere=this.boundingSphere.toJSON()),this.boundingBox!==null&&(s.boundingBox=this.boundingBox.toJSON()));function r(a,c){return a[c.uuid]===void 0&&(a[c.uuid]=c.toJSON(e)),c.uuid}if(this.isScene)this.background&&(this.background.isColor?s.background=this.background.toJSON():this.background.isTexture&&(s.background=this.background.toJSON(e).uuid)),this.environment&&this.environment.isTexture&&this.environment.isRenderTargetTexture!==!0&&(s.environment=this.environment.toJSON(e).uuid);else if(this.isMesh||this.isLine||this.isPoints){s.geometry=r(e.geometries,this.geometry);let a=this.geometry.parameters;if(a!==void 0&&a.shapes!==void 0){let c=a.shapes;if(Array.isArray(c))for(let l=0,u=c.length;l<u;l++){let h=c[l];r(e.shapes,h)}else r(e.shapes,c)}}if(this.isSkinnedMesh&&(s.bindMode=this.bindMode,s.bindMatrix=this.bindMatrix.toArray(),this.skeleton!==void 0&&(r(e.skeletons,this.skeleton),s.skeleton=this.skeleton.uuid)),this.material!==void 0)if(Array.isArray(this.material)){let a=[];for(let c=0,l=this.material.length;c<l;c++)a.push(r(e.materials,this.material[c]));s.material=a}else s.material=r(e.materials,this.material);if(this.children.length>0){s.children=[];for(let a=0;a<this.children.length;a++)s.children.push(this.children[a].toJSON(e).object)}if(this.animations.length>0){s.animations=[];for(let a=0;a<this.animations.length;a++){let c=this.animations[a];s.animations.push(r(e.animations,c))}}if(t){let a=o(e.geometries),c=o(e.materials),l=o(e.textures),u=o(e.images),h=o(e.shapes),d=o(e.skeletons),f=o(e.animations),g=o(e.nodes);a.length>0&&(n.geometries=a),c.length>0&&(n.materials=c),l.length>0&&(n.textures=l),u.length>0&&(n.images=u),h.length>0&&(n.shapes=h),d.length>0&&(n.skeletons=d),f.length>0&&(n.animations=f),g.length>0&&(n.nodes=g)}return n.object=s,n;function o(a){let c=[];for(let l in a){let u=a[l];delete u.metadata,c.push(u)}return c}}clone(e){return new this.constructor().copy(this,e)}copy(e,t=!0){if(this.name=e.name,this.up.copy(e.up),this.position.copy(e.position),this.rotation.order=e.rotation.order,this.quaternion.copy(e.quaternion),this.scale.copy(e.scale),this.pivot=e.pivot!==null?e.pivot.clone():null,this.matrix.copy(e.matrix),this.matrixWorld.copy(e.matrixWorld),this.matrixAutoUpdate=e.matrixAutoUpdate,this.matrixWorldAutoUpdate=e.matrixWorldAutoUpdate,this.matrixWorldNeedsUpdate=e.matrixWorldNeedsUpdate,this.layers.mask=e.layers.mask,this.visible=e.visible,this.castShadow=e.castShadow,this.receiveShadow=e.receiveShadow,this.frustumCulled=e.frustumCulled,this.renderOrder=e.renderOrder,this.static=e.static,this.animations=e.animations.slice(),this.userData=JSON.parse(JSON.stringify(e.userData)),t===!0)for(let n=0;n<e.children.length;n++){let s=e.children[n];this.add(s.clone())}return this}dispose(){this.dispatchEvent({type:"dispose"})}};In.DEFAULT_UP=new U(0,1,0);In.DEFAULT_MATRIX_AUTO_UPDATE=!0;In.DEFAULT_MATRIX_WORLD_AUTO_UPDATE=!0;var _n=class extends In{constructor(){super(),this.isGroup=!0,this.type="Group"}},mS={type:"move"},go=class{constructor(){this._targetRay=null,this._grip=null,this._hand=null}getHandSpace(){return this._hand===null&&(this._hand=new _n,this._hand.matrixAutoUpdate=!1,this._hand.visible=!1,this._hand.joints={},this._hand.inputState={pinching:!1}),this._hand}getTargetRaySpace(){return this._targetRay===null&&(this._targetRay=new _n,this._targetRay.matrixAutoUpdate=!1,this._targetRay.visible=!1,this._targetRay.hasLinearVelocity=!1,this._targetRay.linearVelocity=new U,this._targetRay.hasAngularVelocity=!1,this._targetRay.angularVelocity=new U),this._targetRay}getGripSpace(){return this._grip===null&&(this._grip=new _n,this._grip.matrixAutoUpdate=!1,this._grip.visible=!1,this._grip.hasLinearVelocity=!1,this._grip.linearVelocity=new U,this._grip.hasAngularVelocity=!1,this._grip.angularVelocity=new U,this._grip.eventsEnabled=!1),this._grip}dispatchEvent(e){return this._targetRay!==null&&this._targetRay.dispatchEvent(e),this._grip!==null&&this._grip.dispatchEvent(e),this._hand!==null&&this._hand.dispatchEvent(e),this}connect(e){if(e&&e.hand){let t=this._hand;if(t)for(let n of e.hand.values())this._getHandJoint(t,n)}return this.dispatchEvent({type:"connected",data:e}),this}disconnect(e){return this.dispatchEvent({type:"disconnected",data:e}),this._targetRay!==null&&(this._targetRay.visible=!1),this._grip!==null&&(this._grip.visible=!1),this._hand!==null&&(this._hand.visible=!1),this}update(e,t,n){let s=null,r=null,o=null,a=this._targetRay,c=this._grip,l=this._hand;if(e&&t.session.visibilityState!=="visible-blurred"){if(l&&e.hand){o=!0;for(let y of e.hand.values()){let m=t.getJointPose(y,n),p=this._getHandJoint(l,y);m!==null&&(p.matrix.fromArray(m.transform.matrix),p.matrix.decompose(p.position,p.quaternion,p.scale),p.matrixWorldNeedsUpdate=!0,p.jointRadius=m.radius),p.visible=m!==null}let u=l.joints["index-finger-tip"],h=l.joints["thumb-tip"],d=u.position.distanceTo(h.position),f=.02,g=.005;l.inputState.pinching&&d>f+g?(l.inputState.pinching=!1,this.dispatchEvent({type:"pinchend",handedness:e.handedness,target:this})):!l.inputState.pinching&&d<=f-g&&(l.inputState.pinching=!0,this.dispatchEvent({type:"pinchstart",handedness:e.handedness,target:this}))}else c!==null&&e.gripSpace&&(r=t.getPose(e.gripSpace,n),r!==null&&(c.matrix.fromArray(r.transform.matrix),c.matrix.decompose(c.position,c.quaternion,c.scale),c.matrixWorldNeedsUpdate=!0,r.linearVelocity?(c.hasLinearVelocity=!0,c.linearVelocity.copy(r.linearVelocity)):c.hasLinearVelocity=!1,r.angularVelocity?(c.hasAngularVelocity=!0,c.angularVelocity.copy(r.angularVelocity)):c.hasAngularVelocity=!1,c.eventsEnabled&&c.dispatchEvent({type:"gripUpdated",data:e,target:this})));a!==null&&(s=t.getPose(e.targetRaySpace,n),s===null&&r!==null&&(s=r),s!==null&&(a.matrix.fromArray(s.transform.matrix),a.matrix.decompose(a.position,a.quaternion,a.scale),a.matrixWorldNeedsUpdate=!0,s.linearVelocity?(a.hasLinearVelocity=!0,a.linearVelocity.copy(s.linearVelocity)):a.hasLinearVelocity=!1,s.angularVelocity?(a.hasAngularVelocity=!0,a.angularVelocity.copy(s.angularVelocity)):a.hasAngularVelocity=!1,this.dispatchEvent(mS)))}return a!==null&&(a.visible=s!==null),c!==null&&(c.visible=r!==null),l!==null&&(l.visible=o!==null),this}_getHandJoint(e,t){if(e.joints[t.jointName]===void 0){let n=new _n;n.matrixAutoUpdate=!1,n.visible=!1,e.joints[t.jointName]=n,e.add(n)}return e.joints[t.jointName]}},i_={aliceblue:15792383,antiquewhite:16444375,aqua:65535,aquamarine:8388564,azure:15794175,beige:16119260,bisque:16770244,black:0,blanchedalmond:16772045,blue:255,blueviolet:9055202,brown:10824234,burlywood:14596231,cadetblue:6266528,chartreuse:8388352,chocolate:13789470,coral:16744272,cornflowerblue:6591981,cornsilk:16775388,crimson:14423100,cyan:65535,darkblue:139,darkcyan:35723,darkgoldenrod:12092939,darkgray:11119017,darkgreen:25600,darkgrey:11119017,darkkhaki:12433259,darkmagenta:9109643,darkolivegreen:5597999,darkorange:16747520,darkorchid:10040012,darkred:9109504,darksalmon:15308410,darkseagreen:9419919,darkslateblue:4734347,darkslategray:3100495,darkslategrey:3100495,darkturquoise:52945,darkviolet:9699539,deeppink:16716947,deepskyblue:49151,dimgray:6908265,dimgrey:6908265,dodgerblue:2003199,firebrick:11674146,floralwhite:16775920,forestgreen:2263842,fuchsia:16711935,gainsboro:14474460,ghostwhite:16316671,gold:16766720,goldenrod:14329120,gray:8421504,green:32768,greenyellow:11403055,grey:8421504,honeydew:15794160,hotpink:16738740,indianred:13458524,indigo:4915330,ivory:16777200,khaki:15787660,lavender:15132410,lavenderblush:16773365,lawngreen:8190976,lemonchiffon:16775885,lightblue:11393254,lightcoral:15761536,lightcyan:14745599,lightgoldenrodyellow:16448210,lightgray:13882323,lightgreen:9498256,lightgrey:13882323,lightpink:16758465,lightsalmon:16752762,lightseagreen:2142890,lightskyblue:8900346,lightslategray:7833753,lightslategrey:7833753,lightsteelblue:11584734,lightyellow:16777184,lime:65280,limegreen:3329330,linen:16445670,magenta:16711935,maroon:8388608,mediumaquamarine:6737322,mediumblue:205,mediumorchid:12211667,mediumpurple:9662683,mediumseagreen:3978097,mediumslateblue:8087790,mediumspringgreen:64154,mediumturquoise:4772300,mediumvioletred:13047173,midnightblue:1644912,mintcream:16121850,mistyrose:16770273,moccasin:16770229,navajowhite:16768685,navy:128,oldlace:16643558,olive:8421376,olivedrab:7048739,orange:16753920,orangered:16729344,orchid:14315734,palegoldenrod:15657130,palegreen:10025880,paleturquoise:11529966,palevioletred:14381203,papayawhip:16773077,peachpuff:16767673,peru:13468991,pink:16761035,plum:14524637,powderblue:11591910,purple:8388736,rebeccapurple:6697881,red:16711680,rosybrown:12357519,royalblue:4286945,saddlebrown:9127187,salmon:16416882,sandybrown:16032864,seagreen:3050327,seashell:16774638,sienna:10506797,silver:12632256,skyblue:8900331,slateblue:6970061,slategray:7372944,slategrey:7372944,snow:16775930,springgreen:65407,steelblue:4620980,tan:13808780,teal:32896,thistle:14204888,tomato:16737095,turquoise:4251856,violet:15631086,wheat:16113331,white:16777215,whitesmoke:16119285,yellow:16776960,yellowgreen:10145074},Fs={h:0,s:0,l:0},Nl={h:0,s:0,l:0};function xd(i,e,t){return t<0&&(t+=1),t>1&&(t-=1),t<1/6?i+(e-i)*6*t:t<1/2?e:t<2/3?i+(e-i)*6*(2/3-t):i}var je=class{constructor(e,t,n){return this.isColor=!0,this.r=1,this.g=1,this.b=1,this.set(e,t,n)}set(e,t,n){if(t===void 0&&n===void 0){let s=e;s&&s.isColor?this.copy(s):typeof s=="number"?this.setHex(s):typeof s=="string"&&this.setStyle(s)}else this.setRGB(e,t,n);return this}setScalar(e){return this.r=e,this.g=e,this.b=e,this}setHex(e,t=ci){return e=Math.floor(e),this.r=(e>>16&255)/255,this.g=(e>>8&255)/255,this.b=(e&255)/255,xt.colorSpaceToWorking(this,t),this}setRGB(e,t,n,s=xt.workingColorSpace){return this.r=e,this.g=t,this.b=n,xt.colorSpaceToWorking(this,s),this}setHSL(e,t,n,s=xt.workingColorSpace){if(e=yf(e,1),t=ot(t,0,1),n=ot(n,0,1),t===0)this.r=this.g=this.b=n;else{let r=n<=.5?n*(1+t):n+t-n*t,o=2*n-r;this.r=xd(o,r,e+1/3),this.g=xd(o,r,e),this.b=xd(o,r,e-1/3)}return xt.colorSpaceToWorking(this,s),this}setStyle(e,t=ci){function n(r){r!==void 0&&parseFloat(r)<1&&Ye("Color: Alpha component of "+e+" will be ignored.")}let s;if(s=/^(\w+)\(([^\)]*)\)/.exec(e)){let r,o=s[1],a=s[2];switch(o){case"rgb":case"rgba":if(r=/^\s*(\d+)\s*,\s*(\d+)\s*,\s*(\d+)\s*(?:,\s*(\d+(?:\.\d+)?|\.\d+)\s*)?$/.exec(a))return n(r[4]),this.setRGB(Math.min(255,parseInt(r[1],10))/255,Math.min(255,parseInt(r[2],10))/255,Math.min(255,parseInt(r[3],10))/255,t);if(r=/^\s*(\d+(?:\.\d+)?|\.\d+)\%\s*,\s*(\d+(?:\.\d+)?|\.\d+)\%\s*,\s*(\d+(?:\.\d+)?|\.\d+)\%\s*(?:,\s*(\d+(?:\.\d+)?|\.\d+)\s*)?$/.exec(a))return n(r[4]),this.setRGB(Math.min(100,parseFloat(r[1]))/100,Math.min(100,parseFloat(r[2]))/100,Math.min(100,parseFloat(r[3]))/100,t);break;case"hsl":case"hsla":if(r=/^\s*([+-]?(?:\d+(?:\.\d+)?|\.\d+))\s*,\s*(\d+(?:\.\d+)?|\.\d+)\%\s*,\s*(\d+(?:\.\d+)?|\.\d+)\%\s*(?:,\s*(\d+(?:\.\d+)?|\.\d+)\s*)?$/.exec(a))return n(r[4]),this.setHSL(parseFloat(r[1])/360,parseFloat(r[2])/100,parseFloat(r[3])/100,t);break;default:Ye("Color: Unknown color model "+e)}}else if(s=/^\#([A-Fa-f\d]+)$/.exec(e)){let r=s[1],o=r.length;if(o===3)return this.setRGB(parseInt(r.charAt(0),16)/15,parseInt(r.charAt(1),16)/15,parseInt(r.charAt(2),16)/15,t);if(o===6)return this.setHex(parseInt(r,16),t);Ye("Color: Invalid hex color "+e)}else if(e&&e.length>0)return this.setColorName(e,t);return this}setColorName(e,t=ci){let n=i_[e.toLowerCase()];return n!==void 0?this.setHex(n,t):Ye("Color: Unknown color "+e),this}clone(){return new this.constructor(this.r,this.g,this.b)}copy(e){return this.r=e.r,this.g=e.g,this.b=e.b,this}copySRGBToLinear(e){return this.r=xs(e.r),this.g=xs(e.g),this.b=xs(e.b),this}copyLinearToSRGB(e){return this.r=co(e.r),this.g=co(e.g),this.b=co(e.b),this}convertSRGBToLinear(){return this.copySRGBToLinear(this),this}convertLinearToSRGB(){return this.copyLinearToSRGB(this),this}getHex(e=ci){return xt.workingToColorSpace(Bn.copy(this),e),Math.round(ot(Bn.r*255,0,255))*65536+Math.round(ot(Bn.g*255,0,255))*256+Math.round(ot(Bn.b*255,0,255))}getHexString(e=ci){return("000000"+this.getHex(e).toString(16)).slice(-6)}getHSL(e,t=xt.workingColorSpace){xt.workingToColorSpace(Bn.copy(this),t);let n=Bn.r,s=Bn.g,r=Bn.b,o=Math.max(n,s,r),a=Math.min(n,s,r),c,l,u=(a+o)/2;if(a===o)c=0,l=0;else{let h=o-a;switch(l=u<=.5?h/(o+a):h/(2-o-a),o){case n:c=(s-r)/h+(s<r?6:0);break;case s:c=(r-n)/h+2;break;case r:c=(n-s)/h+4;break}c/=6}return e.h=c,e.s=l,e.l=u,e}getRGB(e,t=xt.workingColorSpace){return xt.workingToColorSpace(Bn.copy(this),t),e.r=Bn.r,e.g=Bn.g,e.b=Bn.b,e}getStyle(e=ci){xt.workingToColorSpace(Bn.copy(this),e);let t=Bn.r,n=Bn.g,s=Bn.b;return e!==ci?`color(${e} ${t.toFixed(3)} ${n.toFixed(3)} ${s.toFixed(3)})`:`rgb(${Math.round(t*255)},${Math.round(n*255)},${Math.round(s*255)})`}offsetHSL(e,t,n){return this.getHSL(Fs),this.setHSL(Fs.h+e,Fs.s+t,Fs.l+n)}add(e){return this.r+=e.r,this.g+=e.g,this.b+=e.b,this}addColors(e,t){return this.r=e.r+t.r,this.g=e.g+t.g,this.b=e.b+t.b,this}addScalar(e){return this.r+=e,this.g+=e,this.b+=e,this}sub(e){return this.r=Math.max(0,this.r-e.r),this.g=Math.max(0,this.g-e.g),this.b=Math.max(0,this.b-e.b),this}multiply(e){return this.r*=e.r,this.g*=e.g,this.b*=e.b,this}multiplyScalar(e){return this.r*=e,this.g*=e,this.b*=e,this}lerp(e,t){return this.r+=(e.r-this.r)*t,this.g+=(e.g-this.g)*t,this.b+=(e.b-this.b)*t,this}lerpColors(e,t,n){return this.r=e.r+(t.r-e.r)*n,this.g=e.g+(t.g-e.g)*n,this.b=e.b+(t.b-e.b)*n,this}lerpHSL(e,t){this.getHSL(Fs),e.getHSL(Nl);let n=sa(Fs.h,Nl.h,t),s=sa(Fs.s,Nl.s,t),r=sa(Fs.l,Nl.l,t);return this.setHSL(n,s,r),this}setFromVector3(e){return this.r=e.x,this.g=e.y,this.b=e.z,this}applyMatrix3(e){let t=this.r,n=this.g,s=this.b,r=e.elements;return this.r=r[0]*t+r[3]*n+r[6]*s,this.g=r[1]*t+r[4]*n+r[7]*s,this.b=r[2]*t+r[5]*n+r[8]*s,this}equals(e){return e.r===this.r&&e.g===this.g&&e.b===this.b}fromArray(e,t=0){return this.r=e[t],this.g=e[t+1],this.b=e[t+2],this}toArray(e=[],t=0){return e[t]=this.r,e[t+1]=this.g,e[t+2]=this.b,e}fromBufferAttribute(e,t){return this.r=e.getX(t),this.g=e.getY(t),this.b=e.getZ(t),this}toJSON(){return this.getHex()}*[Symbol.iterator](){yield this.r,yield this.g,yield this.b}},Bn=new je;je.NAMES=i_;var pa=class extends In{constructor(){super(),this.isScene=!0,this.type="Scene",this.background=null,this.environment=null,this.fog=null,this.backgroundBlurriness=0,this.backgroundIntensity=1,this.backgroundRotation=new vs,this.environmentIntensity=1,this.environmentRotation=new vs,this.overrideMaterial=null,typeof __THREE_DEVTOOLS__<"u"&&__THREE_DEVTOOLS__.dispatchEvent(new CustomEvent("observe",{detail:this}))}copy(e,t){return super.copy(e,t),this.background=e.background!==null?e.background.clone():null,this.environment=e.environment!==null?e.environment.clone():null,this.fog=e.fog!==null?e.fog.clone():null,this.backgroundBlurriness=e.backgroundBlurriness,this.backgroundIntensity=e.backgroundIntensity,this.backgroundRotation.copy(e.backgroundRotation),this.environmentIntensity=e.environmentIntensity,this.environmentRotation.copy(e.environmentRotation),this.overrideMaterial=e.overrideMaterial!==null?e.overrideMaterial.clone():null,this.matrixAutoUpdate=e.matrixAutoUpdate,this}toJSON(e){let t=super.toJSON(e);return this.fog!==null&&(t.object.fog=this.fog.toJSON()),t.object.backgroundBlurriness=this.backgroundBlurriness,t.object.backgroundIntensity=this.backgroundIntensity,t.object.backgroundRotation=this.backgroundRotation.toArray(),t.object.environmentIntensity=this.environmentIntensity,t.object.environmentRotation=this.environmentRotation.toArray(),t}},Ri=new U,fs=new U,yd=new U,ps=new U,Kr=new U,jr=new U,Qg=new U,vd=new U,Sd=new U,bd=new U,Md=new Et,wd=new Et,Ad=new Et,_s=class i{constructor(e=new U,t=new U,n=new U){this.a=e,this.b=t,this.c=n}static getNormal(e,t,n,s){s.subVectors(n,t),Ri.subVectors(e,t),s.cross(Ri);let r=s.lengthSq();return r>0?s.multiplyScalar(1/Math.sqrt(r)):s.set(0,0,0)}static getBarycoord(e,t,n,s,r){Ri.subVectors(s,t),fs.subVectors(n,t),yd.subVectors(e,t);let o=Ri.dot(Ri),a=Ri.dot(fs),c=Ri.dot(yd),l=fs.dot(fs),u=fs.dot(yd),h=o*l-a*a;if(h===0)return r.set(0,0,0),null;let d=1/h,f=(l*c-a*u)*d,g=(o*u-a*c)*d;return r.set(1-f-g,g,f)}static containsPoint(e,t,n,s){return this.getBarycoord(e,t,n,s,ps)===null?!1:ps.x>=0&&ps.y>=0&&ps.x+ps.y<=1}static getInterpolation(e,t,n,s,r,o,a,c){return this.getBarycoord(e,t,n,s,ps)===null?(c.x=0,c.y=0,"z"in c&&(c.z=0),"w"in c&&(c.w=0),null):(c.setScalar(0),c.addScaledVector(r,ps.x),c.addScaledVector(o,ps.y),c.addScaledVector(a,ps.z),c)}static getInterpolatedAttribute(e,t,n,s,r,o){return Md.setScalar(0),wd.setScalar(0),Ad.setScalar(0),Md.fromBufferAttribute(e,t),wd.fromBufferAttribute(e,n),Ad.fromBufferAttribute(e,s),o.setScalar(0),o.addScaledVector(Md,r.x),o.addScaledVector(wd,r.y),o.addScaledVector(Ad,r.z),o}static isFrontFacing(e,t,n,s){return Ri.subVectors(n,t),fs.subVectors(e,t),Ri.cross(fs).dot(s)<0}set(e,t,n){return this.a.copy(e),this.b.copy(t),this.c.copy(n),this}setFromPointsAndIndices(e,t,n,s){return this.a.copy(e[t]),this.b.copy(e[n]),this.c.copy(e[s]),this}setFromAttributeAndIndices(e,t,n,s){return this.a.fromBufferAttribute(e,t),this.b.fromBufferAttribute(e,n),this.c.fromBufferAttribute(e,s),this}clone(){return new this.constructor().copy(this)}copy(e){return this.a.copy(e.a),this.b.copy(e.b),this.c.copy(e.c),this}getArea(){return Ri.subVectors(this.c,this.b),fs.subVectors(this.a,this.b),Ri.cross(fs).length()*.5}getMidpoint(e){return e.addVectors(this.a,this.b).add(this.c).multiplyScalar(1/3)}getNormal(e){return i.getNormal(this.a,this.b,this.c,e)}getPlane(e){return e.setFromCoplanarPoints(this.a,this.b,this.c)}getBarycoord(e,t){return i.getBarycoord(e,this.a,this.b,this.c,t)}getInterpolation(e,t,n,s,r){return i.getInterpolation(e,this.a,this.b,this.c,t,n,s,r)}containsPoint(e){return i.containsPoint(e,this.a,this.b,this.c)}isFrontFacing(e){return i.isFrontFacing(this.a,this.b,this.c,e)}intersectsBox(e){return e.intersectsTriangle(this)}closestPointToPoint(e,t){let n=this.a,s=this.b,r=this.c,o,a;Kr.subVectors(s,n),jr.subVectors(r,n),vd.subVectors(e,n);let c=Kr.dot(vd),l=jr.dot(vd);if(c<=0&&l<=0)return t.copy(n);Sd.subVectors(e,s);let u=Kr.dot(Sd),h=jr.dot(Sd);if(u>=0&&h<=u)return t.copy(s);let d=c*h-u*l;if(d<=0&&c>=0&&u<=0&&c-u>0)return o=c/(c-u),t.copy(n).addScaledVector(Kr,o);bd.subVectors(e,r);let f=Kr.dot(bd),g=jr.dot(bd);if(g>=0&&f<=g)return t.copy(r);let y=f*l-c*g;if(y<=0&&l>=0&&g<=0)return a=l/(l-g),t.copy(n).addScaledVector(jr,a);let m=u*g-f*h;if(m<=0&&h-u>=0&&f-g>=0)return Qg.subVectors(r,s),a=(h-u)/(h-u+(f-g)),t.copy(s).addScaledVector(Qg,a);let p=1/(m+y+d);return o=y*p,a=d*p,t.copy(n).addScaledVector(Kr,o).addScaledVector(jr,a)}equals(e){return e.a.equals(this.a)&&e.b.equals(this.b)&&e.c.equals(this.c)}},Ln=class{constructor(e=new U(1/0,1/0,1/0),t=new U(-1/0,-1/0,-1/0)){this.isBox3=!0,this.min=e,this.max=t}set(e,t){return this.min.copy(e),this.max.copy(t),this}setFromArray(e){this.makeEmpty();for(let t=0,n=e.length;t<n;t+=3)this.expandByPoint(Pi.fromArray(e,t));return this}setFromBufferAttribute(e){this.makeEmpty();for(let t=0,n=e.count;t<n;t++)this.expandByPoint(Pi.fromBufferAttribute(e,t));return this}setFromPoints(e){this.makeEmpty();for(let t=0,n=e.length;t<n;t++)this.expandByPoint(e[t]);return this}setFromCenterAndSize(e,t){let n=Pi.copy(t).multiplyScalar(.5);return this.min.copy(e).sub(n),this.max.copy(e).add(n),this}setFromObject(e,t=!1){return this.makeEmpty(),this.expandByObject(e,t)}clone(){return new this.constructor().copy(this)}copy(e){return this.min.copy(e.min),this.max.copy(e.max),this}makeEmpty(){return this.min.x=this.min.y=this.min.z=1/0,this.max.x=this.max.y=this.max.z=-1/0,this}isEmpty(){return this.max.x<this.min.x||this.max.y<this.min.y||this.max.z<this.min.z}getCenter(e){return this.isEmpty()?e.set(0,0,0):e.addVectors(this.min,this.max).multiplyScalar(.5)}getSize(e){return this.isEmpty()?e.set(0,0,0):e.subVectors(this.max,this.min)}expandByPoint(e){return this.min.min(e),this.max.max(e),this}expandByVector(e){return this.min.sub(e),this.max.add(e),this}expandByScalar(e){return this.min.addScalar(-e),this.max.addScalar(e),this}expandByObject(e,t=!1){e.updateWorldMatrix(!1,!1);let n=e.geometry;if(n!==void 0){let r=n.getAttribute("position");if(t===!0&&r!==void 0&&e.isInstancedMesh!==!0&&e.isBatchedMesh!==!0)for(let o=0,a=r.count;o<a;o++)e.isMesh===!0?e.getVertexPosition(o,Pi):Pi.fromBufferAttribute(r,o),Pi.applyMatrix4(e.matrixWorld),this.expandByPoint(Pi);else e.boundingBox!==void 0?(e.boundingBox===null&&e.computeBoundingBox(),Ul.copy(e.boundingBox)):(n.boundingBox===null&&n.computeBoundingBox(),Ul.copy(n.boundingBox)),Ul.applyMatrix4(e.matrixWorld),this.union(Ul)}let s=e.children;for(let r=0,o=s.length;r<o;r++)this.expandByObject(s[r],t);return this}containsPoint(e){return e.x>=this.min.x&&e.x<=this.max.x&&e.y>=this.min.y&&e.y<=this.max.y&&e.z>=this.min.z&&e.z<=this.max.z}containsBox(e){return this.min.x<=e.min.x&&e.max.x<=this.max.x&&this.min.y<=e.min.y&&e.max.y<=this.max.y&&this.min.z<=e.min.z&&e.max.z<=this.max.z}getParameter(e,t){return t.set((e.x-this.min.x)/(this.max.x-this.min.x),(e.y-this.min.y)/(this.max.y-this.min.y),(e.z-this.min.z)/(this.max.z-this.min.z))}intersectsBox(e){return e.max.x>=this.min.x&&e.min.x<=this.max.x&&e.max.y>=this.min.y&&e.min.y<=this.max.y&&e.max.z>=this.min.z&&e.min.z<=this.max.z}intersectsSphere(e){return this.clampPoint(e.center,Pi),Pi.distanceToSquared(e.center)<=e.radius*e.radius}intersectsPlane(e){let t,n;return e.normal.x>0?(t=e.normal.x*this.min.x,n=e.normal.x*this.max.x):(t=e.normal.x*this.max.x,n=e.normal.x*this.min.x),e.normal.y>0?(t+=e.normal.y*this.min.y,n+=e.normal.y*this.max.y):(t+=e.normal.y*this.max.y,n+=e.normal.y*this.min.y),e.normal.z>0?(t+=e.normal.z*this.min.z,n+=e.normal.z*this.max.z):(t+=e.normal.z*this.max.z,n+=e.normal.z*this.min.z),t<=-e.constant&&n>=-e.constant}intersectsTriangle(e){if(this.isEmpty())return!1;this.getCenter(Qo),Fl.subVectors(this.max,Qo),Qr.subVectors(e.a,Qo),eo.subVectors(e.b,Qo),to.subVectors(e.c,Qo),Os.subVectors(eo,Qr),Bs.subVectors(to,eo),ar.subVectors(Qr,to);let t=[0,-Os.z,Os.y,0,-Bs.z,Bs.y,0,-ar.z,ar.y,Os.z,0,-Os.x,Bs.z,0,-Bs.x,ar.z,0,-ar.x,-Os.y,Os.x,0,-Bs.y,Bs.x,0,-ar.y,ar.x,0];return!Ed(t,Qr,eo,to,Fl)||(t=[1,0,0,0,1,0,0,0,1],!Ed(t,Qr,eo,to,Fl))?!1:(Ol.crossVectors(Os,Bs),t=[Ol.x,Ol.y,Ol.z],Ed(t,Qr,eo,to,Fl))}clampPoint(e,t){return t.copy(e).clamp(this.min,this.max)}distanceToPoint(e){return this.clampPoint(e,Pi).distanceTo(e)}getBoundingSphere(e){return this.isEmpty()?e.makeEmpty():(this.getCenter(e.center),e.radius=this.getSize(Pi).length()*.5),e}intersect(e){return this.min.max(e.min),this.max.min(e.max),this.isEmpty()&&this.makeEmpty(),this}union(e){return this.min.min(e.min),this.max.max(e.max),this}applyMatrix4(e){return this.isEmpty()?this:(ms[0].set(this.min.x,this.min.y,this.min.z).applyMatrix4(e),ms[1].set(this.min.x,this.min.y,this.max.z).applyMatrix4(e),ms[2].set(this.min.x,this.max.y,this.min.z).applyMatrix4(e),ms[3].set(this.min.x,this.max.y,this.max.z).applyMatrix4(e),ms[4].set(this.max.x,this.min.y,this.min.z).applyMatrix4(e),ms[5].set(this.max.x,this.min.y,this.max.z).applyMatrix4(e),ms[6].set(this.max.x,this.max.y,this.min.z).applyMatrix4(e),ms[7].set(this.max.x,this.max.y,this.max.z).applyMatrix4(e),this.setFromPoints(ms),this)}translate(e){return this.min.add(e),this.max.add(e),this}equals(e){return e.min.equals(this.min)&&e.max.equals(this.max)}toJSON(){return{min:this.min.toArray(),max:this.max.toArray()}}fromJSON(e){return this.min.fromArray(e.min),this.max.fromArray(e.max),this}},ms=[new U,new U,new U,new U,new U,new U,new U,new U],Pi=new U,Ul=new Ln,Qr=new U,eo=new U,to=new U,Os=new U,Bs=new U,ar=new U,Qo=new U,Fl=new U,Ol=new U,lr=new U;function Ed(i,e,t,n,s){for(let r=0,o=i.length-3;r<=o;r+=3){lr.fromArray(i,r);let a=s.x*Math.abs(lr.x)+s.y*Math.abs(lr.y)+s.z*Math.abs(lr.z),c=e.dot(lr),l=t.dot(lr),u=n.dot(lr);if(Math.max(-Math.max(c,l,u),Math.min(c,l,u))>a)return!1}return!0}var dn=new U,Bl=new He,gS=0,ui=class extends $i{constructor(e,t,n=!1){if(super(),Array.isArray(e))throw new TypeError("THREE.BufferAttribute: array should be a Typed Array.");this.isBufferAttribute=!0,Object.defineProperty(this,"id",{value:gS++}),this.name="",this.array=e,this.itemSize=t,this.count=e!==void 0?e.length/t:0,this.normalized=n,this.usage=_f,this.updateRanges=[],this.gpuType=Ui,this.version=0,this._normalizationScale=e!==void 0?Fh(e):void 0}onUploadCallback(){}set needsUpdate(e){e===!0&&this.version++}setUsage(e){return this.usage=e,this}addUpdateRange(e,t){this.updateRanges.push({start:e,count:t})}clearUpdateRanges(){this.updateRanges.length=0}copy(e){return this.name=e.name,this.array=new e.array.constructor(e.array),this.itemSize=e.itemSize,this.count=e.count,this.normalized=e.normalized,this.usage=e.usage,this.gpuType=e.gpuType,this._normalizationScale=e._normalizationScale,this}copyAt(e,t,n){e*=this.itemSize,n*=t.itemSize;for(let s=0,r=this.itemSize;s<r;s++)this.array[e+s]=t.array[n+s];return this}copyArray(e){return this.array.set(e),this}applyMatrix3(e){if(this.itemSize===2)for(let t=0,n=this.count;t<n;t++)Bl.fromBufferAttribute(this,t),Bl.applyMatrix3(e),this.setXY(t,Bl.x,Bl.y);else if(this.itemSize===3)for(let t=0,n=this.count;t<n;t++)dn.fromBufferAttribute(this,t),dn.applyMatrix3(e),this.setXYZ(t,dn.x,dn.y,dn.z);return this}applyMatrix4(e){for(let t=0,n=this.count;t<n;t++)dn.fromBufferAttribute(this,t),dn.applyMatrix4(e),this.setXYZ(t,dn.x,dn.y,dn.z);return this}applyNormalMatrix(e){for(let t=0,n=this.count;t<n;t++)dn.fromBufferAttribute(this,t),dn.applyNormalMatrix(e),this.setXYZ(t,dn.x,dn.y,dn.z);return this}transformDirection(e){for(let t=0,n=this.count;t<n;t++)dn.fromBufferAttribute(this,t),dn.transformDirection(e),this.setXYZ(t,dn.x,dn.y,dn.z);return this}set(e,t=0){return this.array.set(e,t),this}getComponent(e,t){let n=this.array[e*this.itemSize+t];return this.normalized&&(n=this._denormalize(n)),n}setComponent(e,t,n){return this.normalized&&(n=this._normalize(n)),this.array[e*this.itemSize+t]=n,this}getX(e){let t=this.array[e*this.itemSize];return this.normalized&&(t=this._denormalize(t)),t}setX(e,t){return this.normalized&&(t=this._normalize(t)),this.array[e*this.itemSize]=t,this}getY(e){let t=this.array[e*this.itemSize+1];return this.normalized&&(t=this._denormalize(t)),t}setY(e,t){return this.normalized&&(t=this._normalize(t)),this.array[e*this.itemSize+1]=t,this}getZ(e){let t=this.array[e*this.itemSize+2];return this.normalized&&(t=this._denormalize(t)),t}setZ(e,t){return this.normalized&&(t=this._normalize(t)),this.array[e*this.itemSize+2]=t,this}getW(e){let t=this.array[e*this.itemSize+3];return this.normalized&&(t=this._denormalize(t)),t}setW(e,t){return this.normalized&&(t=this._normalize(t)),this.array[e*this.itemSize+3]=t,this}setXY(e,t,n){return e*=this.itemSize,this.normalized&&(t=this._normalize(t),n=this._normalize(n)),this.array[e+0]=t,this.array[e+1]=n,this}setXYZ(e,t,n,s){return e*=this.itemSize,this.normalized&&(t=this._normalize(t),n=this._normalize(n),s=this._normalize(s)),this.array[e+0]=t,this.array[e+1]=n,this.array[e+2]=s,this}setXYZW(e,t,n,s,r){return e*=this.itemSize,this.normalized&&(t=this._normalize(t),n=this._normalize(n),s=this._normalize(s),r=this._normalize(r)),this.array[e+0]=t,this.array[e+1]=n,this.array[e+2]=s,this.array[e+3]=r,this}onUpload(e){return this.onUploadCallback=e,this}clone(){return new this.constructor(this.array,this.itemSize).copy(this)}toJSON(){let e={itemSize:this.itemSize,type:this.array.constructor.name,array:Array.from(this.array),normalized:this.normalized};return e.name=this.name,e.usage=this.usage,e.gpuType=this.gpuType,e}dispose(){this.dispatchEvent({type:"dispose"})}_denormalize(e){let t=this._normalizationScale;return t!==void 0?Math.max(e/t,-1):Sf(e,this.array)}_normalize(e){let t=this._normalizationScale;return t!==void 0?Math.round(e*t):bf(e,this.array)}};var ma=class extends ui{constructor(e,t,n){super(new Uint16Array(e),t,n)}};var ga=class extends ui{constructor(e,t,n){super(new Uint32Array(e),t,n)}};var mt=class extends ui{constructor(e,t,n){super(new Float32Array(e),t,n)}},_S=new Ln,ea=new U,Td=new U,Ii=class{constructor(e=new U,t=-1){this.isSphere=!0,this.center=e,this.radius=t}set(e,t){return this.center.copy(e),this.radius=t,this}setFromPoints(e,t){let n=this.center;t!==void 0?n.copy(t):_S.setFromPoints(e).getCenter(n);let s=0;for(let r=0,o=e.length;r<o;r++)s=Math.max(s,n.distanceToSquared(e[r]));return this.radius=Math.sqrt(s),this}copy(e){return this.center.copy(e.center),this.radius=e.radius,this}isEmpty(){return this.radius<0}makeEmpty(){return this.center.set(0,0,0),this.radius=-1,this}containsPoint(e){return e.distanceToSquared(this.center)<=this.radius*this.radius}distanceToPoint(e){return e.distanceTo(this.center)-this.radius}intersectsSphere(e){let t=this.radius+e.radius;return e.center.distanceToSquared(this.center)<=t*t}intersectsBox(e){return e.intersectsSphere(this)}intersectsPlane(e){return Math.abs(e.distanceToPoint(this.center))<=this.radius}clampPoint(e,t){let n=this.center.distanceToSquared(e);return t.copy(e),n>this.radius*this.radius&&(t.sub(this.center).normalize(),t.multiplyScalar(this.radius).add(this.center)),t}getBoundingBox(e){return this.isEmpty()?(e.makeEmpty(),e):(e.set(this.center,this.center),e.expandByScalar(this.radius),e)}applyMatrix4(e){return this.center.applyMatrix4(e),this.radius=this.radius*e.getMaxScaleOnAxis(),this}translate(e){return this.center.add(e),this}expandByPoint(e){if(this.isEmpty())return this.center.copy(e),this.radius=0,this;ea.subVectors(e,this.center);let t=ea.lengthSq();if(t>this.radius*this.radius){let n=Math.sqrt(t),s=(n-this.radius)*.5;this.center.addScaledVector(ea,s/n),this.radius+=s}return this}union(e){return e.isEmpty()?this:this.isEmpty()?(this.copy(e),this):(this.center.equals(e.center)===!0?this.radius=Math.max(this.radius,e.radius):(Td.subVectors(e.center,this.center).setLength(e.radius),this.expandByPoint(ea.copy(e.center).add(Td)),this.expandByPoint(ea.copy(e.center).sub(Td))),this)}equals(e){return e.center.equals(this.center)&&e.radius===this.radius}clone(){return new this.constructor().copy(this)}toJSON(){return{radius:this.radius,center:this.center.toArray()}}fromJSON(e){return this.radius=e.radius,this.center.fromArray(e.center),this}},xS=0,xi=new Dt,Cd=new In,no=new U,li=new Ln,ta=new Ln,En=new U,Qt=class i extends $i{constructor(){super(),this.isBufferGeometry=!0,Object.defineProperty(this,"id",{value:xS++}),this.uuid=$s(),this.name="",this.type="BufferGeometry",this.index=null,this.indirect=null,this.indirectOffset=0,this.attributes={},this.morphAttributes={},this.morphTargetsRelative=!1,this.groups=[],this.boundingBox=null,this.boundingSphere=null,this.drawRange={start:0,count:1/0},this.userData={},this._transformed=!1}getIndex(){return this.index}setIndex(e){return Array.isArray(e)?this.index=new(Hv(e)?ga:ma)(e,1):this.index=e,this}setIndirect(e,t=0){return this.indirect=e,this.indirectOffset=t,this}getIndirect(){return this.indirect}getAttribute(e){return this.attributes[e]}setAttribute(e,t){return this.attributes[e]=t,this}deleteAttribute(e){return delete this.attributes[e],this}hasAttribute(e){return this.attributes[e]!==void 0}addGroup(e,t,n=0){this.groups.push({start:e,count:t,materialIndex:n})}clearGroups(){this.groups=[]}setDrawRange(e,t){this.drawRange.start=e,this.drawRange.count=t}applyMatrix4(e){let t=this.attributes.position;t!==void 0&&(t.applyMatrix4(e),t.needsUpdate=!0);let n=this.attributes.normal;if(n!==void 0){let r=new tt().getNormalMatrix(e);n.applyNormalMatrix(r),n.needsUpdate=!0}let s=this.attributes.tangent;return s!==void 0&&(s.transformDirection(e),s.needsUpdate=!0),this.boundingBox!==null&&this.computeBoundingBox(),this.boundingSphere!==null&&this.computeBoundingSphere(),this._transformed=!0,this}applyQuaternion(e){return xi.makeRotationFromQuaternion(e),this.applyMatrix4(xi),this}rotateX(e){return xi.makeRotationX(e),this.applyMatrix4(xi),this}rotateY(e){return xi.makeRotationY(e),this.applyMatrix4(xi),this}rotateZ(e){return xi.makeRotationZ(e),this.applyMatrix4(xi),this}translate(e,t,n){return xi.makeTranslation(e,t,n),this.applyMatrix4(xi),this}scale(e,t,n){return xi.makeScale(e,t,n),this.applyMatrix4(xi),this}lookAt(e){return Cd.lookAt(e),Cd.updateMatrix(),this.applyMatrix4(Cd.matrix),this}center(){return this.computeBoundingBox(),this.boundingBox.getCenter(no).negate(),this.translate(no.x,no.y,no.z),this}setFromPoints(e){let t=this.getAttribute("position");if(t===void 0){let n=[];for(let s=0,r=e.length;s<r;s++){let o=e[s];n.push(o.x,o.y,o.z||0)}this.setAttribute("position",new mt(n,3))}else{let n=Math.min(e.length,t.count);for(let s=0;s<n;s++){let r=e[s];t.setXYZ(s,r.x,r.y,r.z||0)}e.length>t.count&&Ye("BufferGeometry: Buffer size too small for points data. Use .dispose() and create a new geometry."),t.needsUpdate=!0}return this}computeBoundingBox(){this.boundingBox===null&&(this.boundingBox=new Ln);let e=this.attributes.position,t=this.morphAttributes.position;if(e&&e.isGLBufferAttribute){et("BufferGeometry.computeBoundingBox(): GLBufferAttribute requires a manual bounding box.",this),this.boundingBox.set(new U(-1/0,-1/0,-1/0),new U(1/0,1/0,1/0));return}if(e!==void 0){if(this.boundingBox.setFromBufferAttribute(e),t)for(let n=0,s=t.length;n<s;n++){let r=t[n];li.setFromBufferAttribute(r),this.morphTargetsRelative?(En.addVectors(this.boundingBox.min,li.min),this.boundingBox.expandByPoint(En),En.addVectors(this.boundingBox.max,li.max),this.boundingBox.expandByPoint(En)):(this.boundingBox.expandByPoint(li.min),this.boundingBox.expandByPoint(li.max))}}else this.boundingBox.makeEmpty();(isNaN(this.boundingBox.min.x)||isNaN(this.boundingBox.min.y)||isNaN(this.boundingBox.min.z))&&et('BufferGeometry.computeBoundingBox(): Computed min/max have NaN values. The "position" attribute is likely to have NaN values.',this)}computeBoundingSphere(){this.boundingSphere===null&&(this.boundingSphere=new Ii);let e=this.attributes.position,t=this.morphAttributes.position;if(e&&e.isGLBufferAttribute){et("BufferGeometry.computeBoundingSphere(): GLBufferAttribute requires a manual bounding sphere.",this),this.boundingSphere.set(new U,1/0);return}if(e){let n=this.boundingSphere.center;if(li.setFromBufferAttribute(e),t)for(let r=0,o=t.length;r<o;r++){let a=t[r];ta.setFromBufferAttribute(a),this.morphTargetsRelative?(En.addVectors(li.min,ta.min),li.expandByPoint(En),En.addVectors(li.max,ta.max),li.expandByPoint(En)):(li.expandByPoint(ta.min),li.expandByPoint(ta.max))}li.getCenter(n);let s=0;for(let r=0,o=e.count;r<o;r++)En.fromBufferAttribute(e,r),s=Math.max(s,n.distanceToSquared(En));if(t)for(let r=0,o=t.length;r<o;r++){let a=t[r],c=this.morphTargetsRelative;for(let l=0,u=a.count;l<u;l++)En.fromBufferAttribute(a,l),c&&(no.fromBufferAttribute(e,l),En.add(no)),s=Math.max(s,n.distanceToSquared(En))}this.boundingSphere.radius=Math.sqrt(s),isNaN(this.boundingSphere.radius)&&et('BufferGeometry.computeBoundingSphere(): Computed radius is NaN. The "position" attribute is likely to have NaN values.',this)}}computeTangents(){let e=this.index,t=this.attributes;if(e===null||t.position===void 0||t.normal===void 0||t.uv===void 0){et("BufferGeometry: .computeTangents() failed. Missing required attributes (index, position, normal or uv)");return}let n=t.position,s=t.normal,r=t.uv,o=this.getAttribute("tangent");(o===void 0||o.count!==n.count)&&(o=new ui(new Float32Array(4*n.count),4),this.setAttribute("tangent",o));let a=[],c=[],l=new Uint8Array(n.count);for(let F=0;F<n.count;F++)a[F]=new U,c[F]=new U;let u=new U,h=new U,d=new U,f=new He,g=new He,y=new He,m=new U,p=new U;function v(F,L,I){l[F]=l[L]=l[I]=1,u.fromBufferAttribute(n,F),h.fromBufferAttribute(n,L),d.fromBufferAttribute(n,I),f.fromBufferAttribute(r,F),g.fromBufferAttribute(r,L),y.fromBufferAttribute(r,I),h.sub(u),d.sub(u),g.sub(f),y.sub(f);let k=1/(g.x*y.y-y.x*g.y);isFinite(k)&&(m.copy(h).multiplyScalar(y.y).addScaledVector(d,-g.y).multiplyScalar(k),p.copy(d).multiplyScalar(g.x).addScaledVector(h,-y.x).multiplyScalar(k),a[F].add(m),a[L].add(m),a[I].add(m),c[F].add(p),c[L].add(p),c[I].add(p))}let T=this.groups;T.length===0&&(T=[{start:0,count:e.count}]);for(let F=0,L=T.length;F<L;++F){let I=T[F],k=I.start,V=I.count;for(let N=k,W=k+V;N<W;N+=3)v(e.getX(N+0),e.getX(N+1),e.getX(N+2))}let S=new U,C=new U,E=new U,x=new U;function A(F){E.fromBufferAttribute(s,F),x.copy(E);let L=a[F];S.copy(L),S.sub(E.multiplyScalar(E.dot(L))).normalize(),C.crossVectors(x,L);let k=C.dot(c[F])<0?-1:1;o.setXYZW(F,S.x,S.y,S.z,k)}for(let F=0,L=n.count;F<L;++F)l[F]&&A(F);this._transformed=!0}computeVertexNormals(){let e=this.index,t=this.getAttribute("position");if(t!==void 0){let n=this.getAttribute("normal");if(n===void 0||n.count!==t.count)n=new ui(new Float32Array(t.count*3),3),this.setAttribute("normal",n);else for(let d=0,f=n.count;d<f;d++)n.setXYZ(d,0,0,0);let s=new U,r=new U,o=new U,a=new U,c=new U,l=new U,u=new U,h=new U;if(e)for(let d=0,f=e.count;d<f;d+=3){let g=e.getX(d+0),y=e.getX(d+1),m=e.getX(d+2);s.fromBufferAttribute(t,g),r.fromBufferAttribute(t,y),o.fromBufferAttribute(t,m),u.subVectors(o,r),h.subVectors(s,r),u.cross(h),a.fromBufferAttribute(n,g),c.fromBufferAttribute(n,y),l.fromBufferAttribute(n,m),a.add(u),c.add(u),l.add(u),n.setXYZ(g,a.x,a.y,a.z),n.setXYZ(y,c.x,c.y,c.z),n.setXYZ(m,l.x,l.y,l.z)}else for(let d=0,f=t.count;d<f;d+=3)s.fromBufferAttribute(t,d+0),r.fromBufferAttribute(t,d+1),o.fromBufferAttribute(t,d+2),u.subVectors(o,r),h.subVectors(s,r),u.cross(h),n.setXYZ(d+0,u.x,u.y,u.z),n.setXYZ(d+1,u.x,u.y,u.z),n.setXYZ(d+2,u.x,u.y,u.z);this.normalizeNormals(),n.needsUpdate=!0}}normalizeNormals(){let e=this.attributes.normal;for(let t=0,n=e.count;t<n;t++)En.fromBufferAttribute(e,t),En.normalize(),e.setXYZ(t,En.x,En.y,En.z)}toNonIndexed(){function e(a,c){let l=a.array,u=a.itemSize,h=a.normalized,d=new l.constructor(c.length*u),f=0,g=0;for(let y=0,m=c.length;y<m;y++){a.isInterleavedBufferAttribute?f=c[y]*a.data.stride+a.offset:f=c[y]*u;for(let p=0;p<u;p++)d[g++]=l[f++]}return new ui(d,u,h)}if(this.index===null)return Ye("BufferGeometry.toNonIndexed(): BufferGeometry is already non-indexed."),this;let t=new i,n=this.index.array,s=this.attributes;for(let a in s){let c=s[a],l=e(c,n);t.setAttribute(a,l)}let r=this.morphAttributes;for(let a in r){let c=[],l=r[a];for(let u=0,h=l.length;u<h;u++){let d=l[u],f=e(d,n);c.push(f)}t.morphAttributes[a]=c}t.morphTargetsRelative=this.morphTargetsRelative;let o=this.groups;for(let a=0,c=o.length;a<c;a++){let l=o[a];t.addGroup(l.start,l.count,l.materialIndex)}return t}toJSON(){let e={metadata:{version:4.7,type:"BufferGeometry",generator:"BufferGeometry.toJSON"}};if(e.uuid=this.uuid,e.type=this.parameters!==void 0&&this._transformed===!0?"BufferGeometry":this.type,e.name=this.name,Object.keys(this.userData).length>0&&(e.userData=this.userData),this.parameters!==void 0&&this._transformed!==!0){let c=this.parameters;for(let l in c)c[l]!==void 0&&(e[l]=c[l]);return e}e.data={attributes:{}};let t=this.index;t!==null&&(e.data.index={type:t.array.constructor.name,array:Array.prototype.slice.call(t.array)});let n=this.attributes;for(let c in n){let l=n[c];e.data.attributes[c]=l.toJSON(e.data)}let s={},r=!1;for(let c in this.morphAttributes){let l=this.morphAttributes[c],u=[];for(let h=0,d=l.length;h<d;h++){let f=l[h];u.push(f.toJSON(e.data))}u.length>0&&(s[c]=u,r=!0)}r&&(e.data.morphAttributes=s,e.data.morphTargetsRelative=this.morphTargetsRelative);let o=this.groups;o.length>0&&(e.data.groups=JSON.parse(JSON.stringify(o)));let a=this.boundingSphere;return a!==null&&(e.data.boundingSphere=a.toJSON()),e}clone(){return new this.constructor().copy(this)}copy(e){this.index=null,this.attributes={},this.morphAttributes={},this.groups=[],this.boundingBox=null,this.boundingSphere=null;let t={};this.name=e.name;let n=e.index;n!==null&&this.setIndex(n.clone());let s=e.attributes;for(let l in s){let u=s[l];this.setAttribute(l,u.clone(t))}let r=e.morphAttributes;for(let l in r){let u=[],h=r[l];for(let d=0,f=h.length;d<f;d++)u.push(h[d].clone(t));this.morphAttributes[l]=u}this.morphTargetsRelative=e.morphTargetsRelative;let o=e.groups;for(let l=0,u=o.length;l<u;l++){let h=o[l];this.addGroup(h.start,h.count,h.materialIndex)}let a=e.boundingBox;a!==null&&(this.boundingBox=a.clone());let c=e.boundingSphere;return c!==null&&(this.boundingSphere=c.clone()),this.drawRange.start=e.drawRange.start,this.drawRange.count=e.drawRange.count,this.userData=e.userData,this._transformed=e._transformed,this}dispose(){this.dispatchEvent({type:"dispose"})}},yc=class{constructor(e,t){this.isInterleavedBuffer=!0,this.array=e,this.stride=t,this.count=e!==void 0?e.length/t:0,this.usage=_f,this.updateRanges=[],this.version=0,this.uuid=$s()}onUploadCallback(){}set needsUpdate(e){e===!0&&this.version++}setUsage(e){return this.usage=e,this}addUpdateRange(e,t){this.updateRanges.push({start:e,count:t})}clearUpdateRanges(){this.updateRanges.length=0}copy(e){return this.array=new e.array.constructor(e.array),this.count=e.count,this.stride=e.stride,this.usage=e.usage,this}copyAt(e,t,n){e*=this.stride,n*=t.stride;for(let s=0,r=this.stride;s<r;s++)this.array[e+s]=t.array[n+s];return this}set(e,t=0){return this.array.set(e,t),this}clone(e){e.arrayBuffers===void 0&&(e.arrayBuffers={});let t=e0(this.array);e.arrayBuffers[t]===void 0&&(e.arrayBuffers[t]=this.array.slice(0).buffer);let n=new this.array.constructor(e.arrayBuffers[t]),s=new this.constructor(n,this.stride);return s.setUsage(this.usage),s}onUpload(e){return this.onUploadCallback=e,this}toJSON(e){e.arrayBuffers===void 0&&(e.arrayBuffers={});let t=e0(this.array);e.arrayBuffers[t]===void 0&&(e.arrayBuffers[t]=Array.from(new Uint32Array(this.array.slice(0).buffer)));let n={uuid:this.uuid,buffer:t,type:this.array.constructor.name,stride:this.stride};return n.usage=this.usage,n}};function e0(i){return i.buffer._uuid===void 0&&(i.buffer._uuid=$s()),i.byteOffset===0&&i.byteLength===i.buffer.byteLength?i.buffer._uuid:i.buffer._uuid+":"+i.byteOffset+":"+i.byteLength}var qn=new U,Li=class i{constructor(e,t,n,s=!1){this.isInterleavedBufferAttribute=!0,this.name="",this.data=e,this.itemSize=t,this.offset=n,this.normalized=s,this._normalizationScale=e!==void 0?Fh(e.array):void 0}get count(){return this.data.count}get array(){return this.data.array}set needsUpdate(e){this.data.needsUpdate=e}applyMatrix4(e){for(let t=0,n=this.data.count;t<n;t++)qn.fromBufferAttribute(this,t),qn.applyMatrix4(e),this.setXYZ(t,qn.x,qn.y,qn.z);return this}applyNormalMatrix(e){for(let t=0,n=this.count;t<n;t++)qn.fromBufferAttribute(this,t),qn.applyNormalMatrix(e),this.setXYZ(t,qn.x,qn.y,qn.z);return this}transformDirection(e){for(let t=0,n=this.count;t<n;t++)qn.fromBufferAttribute(this,t),qn.transformDirection(e),this.setXYZ(t,qn.x,qn.y,qn.z);return this}getComponent(e,t){let n=this.array[e*this.data.stride+this.offset+t];return this.normalized&&(n=this._denormalize(n)),n}setComponent(e,t,n){return this.normalized&&(n=this._normalize(n)),this.data.array[e*this.data.stride+this.offset+t]=n,this}setX(e,t){return this.normalized&&(t=this._normalize(t)),this.data.array[e*this.data.stride+this.offset]=t,this}setY(e,t){return this.normalized&&(t=this._normalize(t)),this.data.array[e*this.data.stride+this.offset+1]=t,this}setZ(e,t){return this.normalized&&(t=this._normalize(t)),this.data.array[e*this.data.stride+this.offset+2]=t,this}setW(e,t){return this.normalized&&(t=this._normalize(t)),this.data.array[e*this.data.stride+this.offset+3]=t,this}getX(e){let t=this.data.array[e*this.data.stride+this.offset];return this.normalized&&(t=this._denormalize(t)),t}getY(e){let t=this.data.array[e*this.data.stride+this.offset+1];return this.normalized&&(t=this._denormalize(t)),t}getZ(e){let t=this.data.array[e*this.data.stride+this.offset+2];return this.normalized&&(t=this._denormalize(t)),t}getW(e){let t=this.data.array[e*this.data.stride+this.offset+3];return this.normalized&&(t=this._denormalize(t)),t}setXY(e,t,n){return e=e*this.data.stride+this.offset,this.normalized&&(t=this._normalize(t),n=this._normalize(n)),this.data.array[e+0]=t,this.data.array[e+1]=n,this}setXYZ(e,t,n,s){return e=e*this.data.stride+this.offset,this.normalized&&(t=this._normalize(t),n=this._normalize(n),s=this._normalize(s)),this.data.array[e+0]=t,this.data.array[e+1]=n,this.data.array[e+2]=s,this}setXYZW(e,t,n,s,r){return e=e*this.data.stride+this.offset,this.normalized&&(t=this._normalize(t),n=this._normalize(n),s=this._normalize(s),r=this._normalize(r)),this.data.array[e+0]=t,this.data.array[e+1]=n,this.data.array[e+2]=s,this.data.array[e+3]=r,this}clone(e){if(e===void 0){ua("InterleavedBufferAttribute.clone(): Cloning an interleaved buffer attribute will de-interleave buffer data.");let t=[];for(let n=0;n<this.count;n++){let s=n*this.data.stride+this.offset;for(let r=0;r<this.itemSize;r++)t.push(this.data.array[s+r])}return new ui(new this.array.constructor(t),this.itemSize,this.normalized)}else return e.interleavedBuffers===void 0&&(e.interleavedBuffers={}),e.interleavedBuffers[this.data.uuid]===void 0&&(e.interleavedBuffers[this.data.uuid]=this.data.clone(e)),new i(e.interleavedBuffers[this.data.uuid],this.itemSize,this.offset,this.normalized)}toJSON(e){if(e===void 0){ua("InterleavedBufferAttribute.toJSON(): Serializing an interleaved buffer attribute will de-interleave buffer data.");let t=[];for(let n=0;n<this.count;n++){let s=n*this.data.stride+this.offset;for(let r=0;r<this.itemSize;r++)t.push(this.data.array[s+r])}return{itemSize:this.itemSize,type:this.array.constructor.name,array:t,normalized:this.normalized}}else return e.interleavedBuffers===void 0&&(e.interleavedBuffers={}),e.interleavedBuffers[this.data.uuid]===void 0&&(e.interleavedBuffers[this.data.uuid]=this.data.toJSON(e)),{isInterleavedBufferAttribute:!0,itemSize:this.itemSize,data:this.data.uuid,offset:this.offset,normalized:this.normalized}}_denormalize(e){let t=this._normalizationScale;return t!==void 0?Math.max(e/t,-1):Sf(e,this.data.array)}_normalize(e){let t=this._normalizationScale;return t!==void 0?Math.round(e*t):bf(e,this.data.array)}},Rd=new U,yS=new U,vS=new tt,hi=class{constructor(e=new U(1,0,0),t=0){this.isPlane=!0,this.normal=e,this.constant=t}set(e,t){return this.normal.copy(e),this.constant=t,this}setComponents(e,t,n,s){return this.normal.set(e,t,n),this.constant=s,this}setFromNormalAndCoplanarPoint(e,t){return this.normal.copy(e),this.constant=-t.dot(this.normal),this}setFromCoplanarPoints(e,t,n){let s=Rd.subVectors(n,t).cross(yS.subVectors(e,t)).normalize();return this.setFromNormalAndCoplanarPoint(s,e),this}copy(e){return this.normal.copy(e.normal),this.constant=e.constant,this}normalize(){let e=1/this.normal.length();return this.normal.multiplyScalar(e),this.constant*=e,this}negate(){return this.constant*=-1,this.normal.negate(),this}distanceToPoint(e){return this.normal.dot(e)+this.constant}distanceToSphere(e){return this.distanceToPoint(e.center)-e.radius}projectPoint(e,t){return t.copy(e).addScaledVector(this.normal,-this.distanceToPoint(e))}intersectLine(e,t,n=!0){let s=e.delta(Rd),r=this.normal.dot(s);if(r===0)return this.distanceToPoint(e.start)===0?t.copy(e.start):null;let o=-(e.start.dot(this.normal)+this.constant)/r;return n===!0&&(o<0||o>1)?null:t.copy(e.start).addScaledVector(s,o)}intersectsLine(e){let t=this.distanceToPoint(e.start),n=this.distanceToPoint(e.end);return t<0&&n>0||n<0&&t>0}intersectsBox(e){return e.intersectsPlane(this)}intersectsSphere(e){return e.intersectsPlane(this)}coplanarPoint(e){return e.copy(this.normal).multiplyScalar(-this.constant)}applyMatrix4(e,t){let n=t||vS.getNormalMatrix(e),s=this.coplanarPoint(Rd).applyMatrix4(e),r=this.normal.applyMatrix3(n).normalize();return this.constant=-s.dot(r),this}translate(e){return this.constant-=e.dot(this.normal),this}equals(e){return e.normal.equals(this.normal)&&e.constant===this.constant}clone(){return new this.constructor().copy(this)}toJSON(){return{normal:this.normal.toArray(),constant:this.constant}}fromJSON(e){return this.normal.fromArray(e.normal),this.constant=e.constant,this}},SS=0,Ss=class extends $i{constructor(){super(),this.isMaterial=!0,Object.defineProperty(this,"id",{value:SS++}),this.uuid=$s(),this.name="",this.type="Material",this.blending=bo,this.side=qs,this.vertexColors=!1,this.opacity=1,this.transparent=!1,this.alphaHash=!1,this.blendSrc=Jd,this.blendDst=Kd,this.blendEquation=fr,this.blendSrcAlpha=null,this.blendDstAlpha=null,this.blendEquationAlpha=null,this.blendColor=new je(0,0,0),this.blendAlpha=0,this.depthFunc=ho,this.depthTest=!0,this.depthWrite=!0,this.stencilWriteMask=255,this.stencilFunc=Y0,this.stencilRef=0,this.stencilFuncMask=255,this.stencilFail=rc,this.stencilZFail=rc,this.stencilZPass=rc,this.stencilWrite=!1,this.clippingPlanes=null,this.clipIntersection=!1,this.clipShadows=!1,this.shadowSide=null,this.colorWrite=!0,this.precision=null,this.polygonOffset=!1,this.polygonOffsetFactor=0,this.polygonOffsetUnits=0,this.dithering=!1,this.alphaToCoverage=!1,this.premultipliedAlpha=!1,this.forceSinglePass=!1,this.allowOverride=!0,this.visible=!0,this.toneMapped=!0,this.userData={},this.version=0,this._alphaTest=0}get alphaTest(){return this._alphaTest}set alphaTest(e){this._alphaTest>0!=e>0&&this.version++,this._alphaTest=e}onBeforeRender(){}onBeforeCompile(){}customProgramCacheKey(){return this.onBeforeCompile.toString()}setValues(e){if(e!==void 0)for(let t in e){let n=e[t];if(n===void 0){Ye(`Material: parameter '${t}' has value of undefined.`);continue}let s=this[t];if(s===void 0){Ye(`Material: '${t}' is not a property of THREE.${this.type}.`);continue}s&&s.isColor?s.set(n):s&&s.isVector2&&n&&n.isVector2||s&&s.isEuler&&n&&n.isEuler||s&&s.isVector3&&n&&n.isVector3?s.copy(n):this[t]=n}}toJSON(e){let t=e===void 0||typeof e=="string";t&&(e={textures:{},images:{}});let n={metadata:{version:4.7,type:"Material",generator:"Material.toJSON"}};n.uuid=this.uuid,n.type=this.type,n.blending=this.blending,n.side=this.side,n.shadowSide=this.shadowSide,n.vertexColors=this.vertexColors,n.opacity=this.opacity,n.transparent=this.transparent,n.blendSrc=this.blendSrc,n.blendDst=this.blendDst,n.blendEquation=this.blendEquation,n.blendSrcAlpha=this.blendSrcAlpha,n.blendDstAlpha=this.blendDstAlpha,n.blendEquationAlpha=this.blendEquationAlpha,n.blendColor=this.blendColor.getHex(),n.blendAlpha=this.blendAlpha,n.depthFunc=this.depthFunc,n.depthTest=this.depthTest,n.depthWrite=this.depthWrite,n.colorWrite=this.colorWrite,n.clipIntersection=this.clipIntersection,n.clipShadows=this.clipShadows,n.stencilWriteMask=this.stencilWriteMask,n.stencilFunc=this.stencilFunc,n.stencilRef=this.stencilRef,n.stencilFuncMask=this.stencilFuncMask,n.stencilFail=this.stencilFail,n.stencilZFail=this.stencilZFail,n.stencilZPass=this.stencilZPass,n.stencilWrite=this.stencilWrite,n.polygonOffset=this.polygonOffset,n.polygonOffsetFactor=this.polygonOffsetFactor,n.polygonOffsetUnits=this.polygonOffsetUnits,n.dithering=this.dithering,n.alphaTest=this.alphaTest,n.alphaHash=this.alphaHash,n.alphaToCoverage=this.alphaToCoverage,n.premultipliedAlpha=this.premultipliedAlpha,n.forceSinglePass=this.forceSinglePass,n.allowOverride=this.allowOverride,n.visible=this.visible,n.toneMapped=this.toneMapped,n.name=this.name,this.color&&this.color.isColor&&(n.color=this.color.getHex()),this.roughness!==void 0&&(n.roughness=this.roughness),this.metalness!==void 0&&(n.metalness=this.metalness),this.sheen!==void 0&&(n.sheen=this.sheen),this.sheenColor&&this.sheenColor.isColor&&(n.sheenColor=this.sheenColor.getHex()),this.sheenRoughness!==void 0&&(n.sheenRoughness=this.sheenRoughness),this.emissive&&this.emissive.isColor&&(n.emissive=this.emissive.getHex()),this.emissiveIntensity!==void 0&&(n.emissiveIntensity=this.emissiveIntensity),this.specular&&this.specular.isColor&&(n.specular=this.specular.getHex()),this.specularIntensity!==void 0&&(n.specularIntensity=this.specularIntensity),this.specularColor&&this.specularColor.isColor&&(n.specularColor=this.specularColor.getHex()),this.shininess!==void 0&&(n.shininess=this.shininess),this.clearcoat!==void 0&&(n.clearcoat=this.clearcoat),this.clearcoatRoughness!==void 0&&(n.clearcoatRoughness=this.clearcoatRoughness),this.diffuseRoughness!==void 0&&(n.diffuseRoughness=this.diffuseRoughness),this.diffuseRoughnessMap&&this.diffuseRoughnessMap.isTexture&&(n.diffuseRoughnessMap=this.diffuseRoughnessMap.toJSON(e).uuid),this.clearcoatMap&&this.clearcoatMap.isTexture&&(n.clearcoatMap=this.clearcoatMap.toJSON(e).uuid),this.clearcoatRoughnessMap&&this.clearcoatRoughnessMap.isTexture&&(n.clearcoatRoughnessMap=this.clearcoatRoughnessMap.toJSON(e).uuid),this.clearcoatNormalMap&&this.clearcoatNormalMap.isTexture&&(n.clearcoatNormalMap=this.clearcoatNormalMap.toJSON(e).uuid,n.clearcoatNormalScale=this.clearcoatNormalScale.toArray()),this.sheenColorMap&&this.sheenColorMap.isTexture&&(n.sheenColorMap=this.sheenColorMap.toJSON(e).uuid),this.sheenRoughnessMap&&this.sheenRoughnessMap.isTexture&&(n.sheenRoughnessMap=this.sheenRoughnessMap.toJSON(e).uuid),this.dispersion!==void 0&&(n.dispersion=this.dispersion),this.retroreflectivity!==void 0&&(n.retroreflectivity=this.retroreflectivity),this.iridescence!==void 0&&(n.iridescence=this.iridescence),this.iridescenceIOR!==void 0&&(n.iridescenceIOR=this.iridescenceIOR),this.iridescenceThicknessMinimum!==void 0&&(n.iridescenceThicknessMinimum=this.iridescenceThicknessMinimum),this.iridescenceThicknessMaximum!==void 0&&(n.iridescenceThicknessMaximum=this.iridescenceThicknessMaximum),this.iridescenceMap&&this.iridescenceMap.isTexture&&(n.iridescenceMap=this.iridescenceMap.toJSON(e).uuid),this.iridescenceThicknessMap&&this.iridescenceThicknessMap.isTexture&&(n.iridescenceThicknessMap=this.iridescenceThicknessMap.toJSON(e).uuid),this.anisotropy!==void 0&&(n.anisotropy=this.anisotropy),this.anisotropyRotation!==void 0&&(n.anisotropyRotation=this.anisotropyRotation),this.anisotropyMap&&this.anisotropyMap.isTexture&&(n.anisotropyMap=this.anisotropyMap.toJSON(e).uuid),this.map&&this.map.isTexture&&(n.map=this.map.toJSON(e).uuid),this.matcap&&this.matcap.isTexture&&(n.matcap=this.matcap.toJSON(e).uuid),this.alphaMap&&this.alphaMap.isTexture&&(n.alphaMap=this.alphaMap.toJSON(e).uuid),this.lightMap&&this.lightMap.isTexture&&(n.lightMap=this.lightMap.toJSON(e).uuid,n.lightMapIntensity=this.lightMapIntensity),this.aoMap&&this.aoMap.isTexture&&(n.aoMap=this.aoMap.toJSON(e).uuid,n.aoMapIntensity=this.aoMapIntensity),this.bumpMap&&this.bumpMap.isTexture&&(n.bumpMap=this.bumpMap.toJSON(e).uuid,n.bumpScale=this.bumpScale),this.normalMap&&this.normalMap.isTexture&&(n.normalMap=this.normalMap.toJSON(e).uuid,n.normalMapType=this.normalMapType,n.normalScale=this.normalScale.toArray()),this.displacementMap&&this.displacementMap.isTexture&&(n.displacementMap=this.displacementMap.toJSON(e).uuid,n.displacementScale=this.displacementScale,n.displacementBias=this.displacementBias),this.roughnessMap&&this.roughnessMap.isTexture&&(n.roughnessMap=this.roughnessMap.toJSON(e).uuid),this.metalnessMap&&this.metalnessMap.isTexture&&(n.metalnessMap=this.metalnessMap.toJSON(e).uuid),this.emissiveMap&&this.emissiveMap.isTexture&&(n.emissiveMap=this.emissiveMap.toJSON(e).uuid),this.specularMap&&this.specularMap.isTexture&&(n.specularMap=this.specularMap.toJSON(e).uuid),this.specularIntensityMap&&this.specularIntensityMap.isTexture&&(n.specularIntensityMap=this.specularIntensityMap.toJSON(e).uuid),this.specularColorMap&&this.specularColorMap.isTexture&&(n.specularColorMap=this.specularColorMap.toJSON(e).uuid),this.envMap&&this.envMap.isTexture&&(n.envMap=this.envMap.toJSON(e).uuid,this.combine!==void 0&&(n.combine=this.combine)),this.envMapRotation!==void 0&&(n.envMapRotation=this.envMapRotation.toArray()),this.envMapIntensity!==void 0&&(n.envMapIntensity=this.envMapIntensity),this.reflectivity!==void 0&&(n.reflectivity=this.reflectivity),this.refractionRatio!==void 0&&(n.refractionRatio=this.refractionRatio),this.gradientMap&&this.gradientMap.isTexture&&(n.gradientMap=this.gradientMap.toJSON(e).uuid),this.transmission!==void 0&&(n.transmission=this.transmission),this.transmissionMap&&this.transmissionMap.isTexture&&(n.transmissionMap=this.transmissionMap.toJSON(e).uuid),this.thickness!==void 0&&(n.thickness=this.thickness),this.thicknessMap&&this.thicknessMap.isTexture&&(n.thicknessMap=this.thicknessMap.toJSON(e).uuid),this.attenuationDistance!==void 0&&(n.attenuationDistance=this.attenuationDistance),this.attenuationColor!==void 0&&(n.attenuationColor=this.attenuationColor.getHex()),this.size!==void 0&&(n.size=this.size),this.sizeAttenuation!==void 0&&(n.sizeAttenuation=this.sizeAttenuation),Array.isArray(this.clippingPlanes)&&this.clippingPlanes.length>0&&(n.clippingPlanes=this.clippingPlanes.map(r=>r.toJSON())),this.rotation!==void 0&&(n.rotation=this.rotation),this.depthPacking!==void 0&&(n.depthPacking=this.depthPacking),this.linewidth!==void 0&&(n.linewidth=this.linewidth),this.linecap!==void 0&&(n.linecap=this.linecap),this.linejoin!==void 0&&(n.linejoin=this.linejoin),this.dashSize!==void 0&&(n.dashSize=this.dashSize),this.gapSize!==void 0&&(n.gapSize=this.gapSize),this.scale!==void 0&&(n.scale=this.scale),this.wireframe!==void 0&&(n.wireframe=this.wireframe),this.wireframeLinewidth!==void 0&&(n.wireframeLinewidth=this.wireframeLinewidth),this.wireframeLinecap!==void 0&&(n.wireframeLinecap=this.wireframeLinecap),this.wireframeLinejoin!==void 0&&(n.wireframeLinejoin=this.wireframeLinejoin),this.flatShading!==void 0&&(n.flatShading=this.flatShading),this.fog!==void 0&&(n.fog=this.fog),Object.keys(this.userData).length>0&&(n.userData=this.userData);function s(r){let o=[];for(let a in r){let c=r[a];delete c.metadata,o.push(c)}return o}if(t){let r=s(e.textures),o=s(e.images);r.length>0&&(n.textures=r),o.length>0&&(n.images=o)}return n}fromJSON(e,t){if(e.uuid!==void 0&&(this.uuid=e.uuid),e.name!==void 0&&(this.name=e.name),e.color!==void 0&&this.color!==void 0&&this.color.setHex(e.color),e.roughness!==void 0&&(this.roughness=e.roughness),e.metalness!==void 0&&(this.metalness=e.metalness),e.sheen!==void 0&&(this.sheen=e.sheen),e.sheenColor!==void 0&&(this.sheenColor=new je().setHex(e.sheenColor)),e.sheenRoughness!==void 0&&(this.sheenRoughness=e.sheenRoughness),e.emissive!==void 0&&this.emissive!==void 0&&this.emissive.setHex(e.emissive),e.specular!==void 0&&this.specular!==void 0&&this.specular.setHex(e.specular),e.specularIntensity!==void 0&&(this.specularIntensity=e.specularIntensity),e.specularColor!==void 0&&this.specularColor!==void 0&&this.specularColor.setHex(e.specularColor),e.shininess!==void 0&&(this.shininess=e.shininess),e.clearcoat!==void 0&&(this.clearcoat=e.clearcoat),e.clearcoatRoughness!==void 0&&(this.clearcoatRoughness=e.clearcoatRoughness),e.diffuseRoughness!==void 0&&(this.diffuseRoughness=e.diffuseRoughness),e.dispersion!==void 0&&(this.dispersion=e.dispersion),e.retroreflectivity!==void 0&&(this.retroreflectivity=e.retroreflectivity),e.iridescence!==void 0&&(this.iridescence=e.iridescence),e.iridescenceIOR!==void 0&&(this.iridescenceIOR=e.iridescenceIOR),e.iridescenceThicknessMinimum!==void 0&&(this.iridescenceThicknessMinimum=e.iridescenceThicknessMinimum),e.iridescenceThicknessMaximum!==void 0&&(this.iridescenceThicknessMaximum=e.iridescenceThicknessMaximum),e.iridescenceThicknessRange!==void 0&&(this.iridescenceThicknessMinimum=e.iridescenceThicknessRange[0],this.iridescenceThicknessMaximum=e.iridescenceThicknessRange[1]),e.transmission!==void 0&&(this.transmission=e.transmission),e.thickness!==void 0&&(this.thickness=e.thickness),e.attenuationDistance!==void 0&&(this.attenuationDistance=e.attenuationDistance),e.attenuationColor!==void 0&&this.attenuationColor!==void 0&&this.attenuationColor.setHex(e.attenuationColor),e.anisotropy!==void 0&&(this.anisotropy=e.anisotropy),e.anisotropyRotation!==void 0&&(this.anisotropyRotation=e.anisotropyRotation),e.fog!==void 0&&(this.fog=e.fog),e.flatShading!==void 0&&(this.flatShading=e.flatShading),e.blending!==void 0&&(this.blending=e.blending),e.combine!==void 0&&(this.combine=e.combine),e.side!==void 0&&(this.side=e.side),e.shadowSide!==void 0&&(this.shadowSide=e.shadowSide),e.opacity!==void 0&&(this.opacity=e.opacity),e.transparent!==void 0&&(this.transparent=e.transparent),e.alphaTest!==void 0&&(this.alphaTest=e.alphaTest),e.alphaHash!==void 0&&(this.alphaHash=e.alphaHash),e.depthFunc!==void 0&&(this.depthFunc=e.depthFunc),e.depthTest!==void 0&&(this.depthTest=e.depthTest),e.depthWrite!==void 0&&(this.depthWrite=e.depthWrite),e.colorWrite!==void 0&&(this.colorWrite=e.colorWrite),e.clippingPlanes!==void 0&&(this.clippingPlanes=e.clippingPlanes.map(n=>new hi().fromJSON(n))),e.clipIntersection!==void 0&&(this.clipIntersection=e.clipIntersection),e.clipShadows!==void 0&&(this.clipShadows=e.clipShadows),e.depthPacking!==void 0&&(this.depthPacking=e.depthPacking),e.blendSrc!==void 0&&(this.blendSrc=e.blendSrc),e.blendDst!==void 0&&(this.blendDst=e.blendDst),e.blendEquation!==void 0&&(this.blendEquation=e.blendEquation),e.blendSrcAlpha!==void 0&&(this.blendSrcAlpha=e.blendSrcAlpha),e.blendDstAlpha!==void 0&&(this.blendDstAlpha=e.blendDstAlpha),e.blendEquationAlpha!==void 0&&(this.blendEquationAlpha=e.blendEquationAlpha),e.blendColor!==void 0&&this.blendColor!==void 0&&this.blendColor.setHex(e.blendColor),e.blendAlpha!==void 0&&(this.blendAlpha=e.blendAlpha),e.stencilWriteMask!==void 0&&(this.stencilWriteMask=e.stencilWriteMask),e.stencilFunc!==void 0&&(this.stencilFunc=e.stencilFunc),e.stencilRef!==void 0&&(this.stencilRef=e.stencilRef),e.stencilFuncMask!==void 0&&(this.stencilFuncMask=e.stencilFuncMask),e.stencilFail!==void 0&&(this.stencilFail=e.stencilFail),e.stencilZFail!==void 0&&(this.stencilZFail=e.stencilZFail),e.stencilZPass!==void 0&&(this.stencilZPass=e.stencilZPass),e.stencilWrite!==void 0&&(this.stencilWrite=e.stencilWrite),e.wireframe!==void 0&&(this.wireframe=e.wireframe),e.wireframeLinewidth!==void 0&&(this.wireframeLinewidth=e.wireframeLinewidth),e.wireframeLinecap!==void 0&&(this.wireframeLinecap=e.wireframeLinecap),e.wireframeLinejoin!==void 0&&(this.wireframeLinejoin=e.wireframeLinejoin),e.rotation!==void 0&&(this.rotation=e.rotation),e.linewidth!==void 0&&(this.linewidth=e.linewidth),e.linecap!==void 0&&(this.linecap=e.linecap),e.linejoin!==void 0&&(this.linejoin=e.linejoin),e.dashSize!==void 0&&(this.dashSize=e.dashSize),e.gapSize!==void 0&&(this.gapSize=e.gapSize),e.scale!==void 0&&(this.scale=e.scale),e.polygonOffset!==void 0&&(this.polygonOffset=e.polygonOffset),e.polygonOffsetFactor!==void 0&&(this.polygonOffsetFactor=e.polygonOffsetFactor),e.polygonOffsetUnits!==void 0&&(this.polygonOffsetUnits=e.polygonOffsetUnits),e.dithering!==void 0&&(this.dithering=e.dithering),e.alphaToCoverage!==void 0&&(this.alphaToCoverage=e.alphaToCoverage),e.premultipliedAlpha!==void 0&&(this.premultipliedAlpha=e.premultipliedAlpha),e.forceSinglePass!==void 0&&(this.forceSinglePass=e.forceSinglePass),e.allowOverride!==void 0&&(this.allowOverride=e.allowOverride),e.visible!==void 0&&(this.visible=e.visible),e.toneMapped!==void 0&&(this.toneMapped=e.toneMapped),e.userData!==void 0&&(this.userData=e.userData),e.vertexColors!==void 0&&(typeof e.vertexColors=="number"?this.vertexColors=e.vertexColors>0:this.vertexColors=e.vertexColors),e.size!==void 0&&(this.size=e.size),e.sizeAttenuation!==void 0&&(this.sizeAttenuation=e.sizeAttenuation),e.map!==void 0&&(this.map=t[e.map]||null),e.matcap!==void 0&&(this.matcap=t[e.matcap]||null),e.alphaMap!==void 0&&(this.alphaMap=t[e.alphaMap]||null),e.bumpMap!==void 0&&(this.bumpMap=t[e.bumpMap]||null),e.bumpScale!==void 0&&(this.bumpScale=e.bumpScale),e.normalMap!==void 0&&(this.normalMap=t[e.normalMap]||null),e.normalMapType!==void 0&&(this.normalMapType=e.normalMapType),e.normalScale!==void 0){let n=e.normalScale;Array.isArray(n)===!1&&(n=[n,n]),this.normalScale=new He().fromArray(n)}return e.displacementMap!==void 0&&(this.displacementMap=t[e.displacementMap]||null),e.displacementScale!==void 0&&(this.displacementScale=e.displacementScale),e.displacementBias!==void 0&&(this.displacementBias=e.displacementBias),e.roughnessMap!==void 0&&(this.roughnessMap=t[e.roughnessMap]||null),e.metalnessMap!==void 0&&(this.metalnessMap=t[e.metalnessMap]||null),e.emissiveMap!==void 0&&(this.emissiveMap=t[e.emissiveMap]||null),e.emissiveIntensity!==void 0&&(this.emissiveIntensity=e.emissiveIntensity),e.specularMap!==void 0&&(this.specularMap=t[e.specularMap]||null),e.specularIntensityMap!==void 0&&(this.specularIntensityMap=t[e.specularIntensityMap]||null),e.specularColorMap!==void 0&&(this.specularColorMap=t[e.specularColorMap]||null),e.envMap!==void 0&&(this.envMap=t[e.envMap]||null),e.envMapRotation!==void 0&&this.envMapRotation.fromArray(e.envMapRotation),e.envMapIntensity!==void 0&&(this.envMapIntensity=e.envMapIntensity),e.reflectivity!==void 0&&(this.reflectivity=e.reflectivity),e.refractionRatio!==void 0&&(this.refractionRatio=e.refractionRatio),e.lightMap!==void 0&&(this.lightMap=t[e.lightMap]||null),e.lightMapIntensity!==void 0&&(this.lightMapIntensity=e.lightMapIntensity),e.aoMap!==void 0&&(this.aoMap=t[e.aoMap]||null),e.aoMapIntensity!==void 0&&(this.aoMapIntensity=e.aoMapIntensity),e.gradientMap!==void 0&&(this.gradientMap=t[e.gradientMap]||null),e.clearcoatMap!==void 0&&(this.clearcoatMap=t[e.clearcoatMap]||null),e.clearcoatRoughnessMap!==void 0&&(this.clearcoatRoughnessMap=t[e.clearcoatRoughnessMap]||null),e.clearcoatNormalMap!==void 0&&(this.clearcoatNormalMap=t[e.clearcoatNormalMap]||null),e.clearcoatNormalScale!==void 0&&(this.clearcoatNormalScale=new He().fromArray(e.clearcoatNormalScale)),e.diffuseRoughnessMap!==void 0&&(this.diffuseRoughnessMap=t[e.diffuseRoughnessMap]||null),e.iridescenceMap!==void 0&&(this.iridescenceMap=t[e.iridescenceMap]||null),e.iridescenceThicknessMap!==void 0&&(this.iridescenceThicknessMap=t[e.iridescenceThicknessMap]||null),e.transmissionMap!==void 0&&(this.transmissionMap=t[e.transmissionMap]||null),e.thicknessMap!==void 0&&(this.thicknessMap=t[e.thicknessMap]||null),e.anisotropyMap!==void 0&&(this.anisotropyMap=t[e.anisotropyMap]||null),e.sheenColorMap!==void 0&&(this.sheenColorMap=t[e.sheenColorMap]||null),e.sheenRoughnessMap!==void 0&&(this.sheenRoughnessMap=t[e.sheenRoughnessMap]||null),this}clone(){return new this.constructor().copy(this)}copy(e){this.name=e.name,this.blending=e.blending,this.side=e.side,this.vertexColors=e.vertexColors,this.opacity=e.opacity,this.transparent=e.transparent,this.blendSrc=e.blendSrc,this.blendDst=e.blendDst,this.blendEquation=e.blendEquation,this.blendSrcAlpha=e.blendSrcAlpha,this.blendDstAlpha=e.blendDstAlpha,this.blendEquationAlpha=e.blendEquationAlpha,this.blendColor.copy(e.blendColor),this.blendAlpha=e.blendAlpha,this.depthFunc=e.depthFunc,this.depthTest=e.depthTest,this.depthWrite=e.depthWrite,this.stencilWriteMask=e.stencilWriteMask,this.stencilFunc=e.stencilFunc,this.stencilRef=e.stencilRef,this.stencilFuncMask=e.stencilFuncMask,this.stencilFail=e.stencilFail,this.stencilZFail=e.stencilZFail,this.stencilZPass=e.stencilZPass,this.stencilWrite=e.stencilWrite;let t=e.clippingPlanes,n=null;if(t!==null){let s=t.length;n=new Array(s);for(let r=0;r!==s;++r)n[r]=t[r].clone()}return this.clippingPlanes=n,this.clipIntersection=e.clipIntersection,this.clipShadows=e.clipShadows,this.shadowSide=e.shadowSide,this.colorWrite=e.colorWrite,this.precision=e.precision,this.polygonOffset=e.polygonOffset,this.polygonOffsetFactor=e.polygonOffsetFactor,this.polygonOffsetUnits=e.polygonOffsetUnits,this.dithering=e.dithering,this.alphaTest=e.alphaTest,this.alphaHash=e.alphaHash,this.alphaToCoverage=e.alphaToCoverage,this.premultipliedAlpha=e.premultipliedAlpha,this.forceSinglePass=e.forceSinglePass,this.allowOverride=e.allowOverride,this.visible=e.visible,this.toneMapped=e.toneMapped,this.userData=JSON.parse(JSON.stringify(e.userData)),this}dispose(){this.dispatchEvent({type:"dispose"})}set needsUpdate(e){e===!0&&this.version++}};var gs=new U,Pd=new U,kl=new U,zl=new U,_a=class{constructor(e=new U,t=new U(0,0,-1)){this.origin=e,this.direction=t}set(e,t){return this.origin.copy(e),this.direction.copy(t),this}copy(e){return this.origin.copy(e.origin),this.direction.copy(e.direction),this}at(e,t){return t.copy(this.origin).addScaledVector(this.direction,e)}lookAt(e){return this.direction.copy(e).sub(this.origin).normalize(),this}recast(e){return this.origin.copy(this.at(e,gs)),this}closestPointToPoint(e,t){t.subVectors(e,this.origin);let n=t.dot(this.direction);return n<0?t.copy(this.origin):t.copy(this.origin).addScaledVector(this.direction,n)}distanceToPoint(e){return Math.sqrt(this.distanceSqToPoint(e))}distanceSqToPoint(e){let t=gs.subVectors(e,this.origin).dot(this.direction);return t<0?this.origin.distanceToSquared(e):(gs.copy(this.origin).addScaledVector(this.direction,t),gs.distanceToSquared(e))}distanceSqToSegment(e,t,n,s){Pd.copy(e).add(t).multiplyScalar(.5),kl.copy(t).sub(e).normalize(),zl.copy(this.origin).sub(Pd);let r=e.distanceTo(t)*.5,o=-this.direction.dot(kl),a=zl.dot(this.direction),c=-zl.dot(kl),l=zl.lengthSq(),u=Math.abs(1-o*o),h,d,f,g;if(u>0)if(h=o*c-a,d=o*a-c,g=r*u,h>=0)if(d>=-g)if(d<=g){let y=1/u;h*=y,d*=y,f=h*(h+o*d+2*a)+d*(o*h+d+2*c)+l}else d=r,h=Math.max(0,-(o*d+a)),f=-h*h+d*(d+2*c)+l;else d=-r,h=Math.max(0,-(o*d+a)),f=-h*h+d*(d+2*c)+l;else d<=-g?(h=Math.max(0,-(-o*r+a)),d=h>0?-r:Math.min(Math.max(-r,-c),r),f=-h*h+d*(d+2*c)+l):d<=g?(h=0,d=Math.min(Math.max(-r,-c),r),f=d*(d+2*c)+l):(h=Math.max(0,-(o*r+a)),d=h>0?r:Math.min(Math.max(-r,-c),r),f=-h*h+d*(d+2*c)+l);else d=o>0?-r:r,h=Math.max(0,-(o*d+a)),f=-h*h+d*(d+2*c)+l;return n&&n.copy(this.origin).addScaledVector(this.direction,h),s&&s.copy(Pd).addScaledVector(kl,d),f}intersectSphere(e,t){if(e.radius<0)return null;gs.subVectors(e.center,this.origin);let n=gs.dot(this.direction),s=gs.dot(gs)-n*n,r=e.radius*e.radius;if(s>r)return null;let o=Math.sqrt(r-s),a=n-o,c=n+o;return c<0?null:a<0?this.at(c,t):this.at(a,t)}intersectsSphere(e){return e.radius<0?!1:this.distanceSqToPoint(e.center)<=e.radius*e.radius}distanceToPlane(e){let t=e.normal.dot(this.direction);if(t===0)return e.distanceToPoint(this.origin)===0?0:null;let n=-(this.origin.dot(e.normal)+e.constant)/t;return n>=0?n:null}intersectPlane(e,t){let n=this.distanceToPlane(e);return n===null?null:this.at(n,t)}intersectsPlane(e){let t=e.distanceToPoint(this.origin);return t===0||e.normal.dot(this.direction)*t<0}intersectBox(e,t){let n,s,r,o,a,c,l=1/this.direction.x,u=1/this.direction.y,h=1/this.direction.z,d=this.origin;return l>=0?(n=(e.min.x-d.x)*l,s=(e.max.x-d.x)*l):(n=(e.max.x-d.x)*l,s=(e.min.x-d.x)*l),u>=0?(r=(e.min.y-d.y)*u,o=(e.max.y-d.y)*u):(r=(e.max.y-d.y)*u,o=(e.min.y-d.y)*u),n>o||r>s||((r>n||isNaN(n))&&(n=r),(o<s||isNaN(s))&&(s=o),h>=0?(a=(e.min.z-d.z)*h,c=(e.max.z-d.z)*h):(a=(e.max.z-d.z)*h,c=(e.min.z-d.z)*h),n>c||a>s)||((a>n||n!==n)&&(n=a),(c<s||s!==s)&&(s=c),s<0)?null:this.at(n>=0?n:s,t)}intersectsBox(e){return this.intersectBox(e,gs)!==null}intersectTriangle(e,t,n,s,r){let o=this.origin,a=this.direction,c=a.x,l=a.y,u=a.z,h=e.x-o.x,d=e.y-o.y,f=e.z-o.z,g=t.x-o.x,y=t.y-o.y,m=t.z-o.z,p=n.x-o.x,v=n.y-o.y,T=n.z-o.z,S=Math.abs(c),C=Math.abs(l),E=Math.abs(u),x,A,F,L,I,k,V,N,W,$,H,ce;if(S>=C&&S>=E?(F=c,k=h,W=g,ce=p,c>=0?(x=l,A=u,L=d,I=f,V=y,N=m,$=v,H=T):(x=u,A=l,L=f,I=d,V=m,N=y,$=T,H=v)):C>=E?(F=l,k=d,W=y,ce=v,l>=0?(x=u,A=c,L=f,I=h,V=m,N=g,$=T,H=p):(x=c,A=u,L=h,I=f,V=g,N=m,$=p,H=T)):(F=u,k=f,W=m,ce=T,u>=0?(x=c,A=l,L=h,I=d,V=g,N=y,$=p,H=v):(x=l,A=c,L=d,I=h,V=y,N=g,$=v,H=p)),F===0)return null;let K=x/F,Q=A/F,se=1/F,de=L-K*k,ue=I-Q*k,ee=V-K*W,me=N-Q*W,xe=$-K*ce,Te=H-Q*ce,be=xe*me-Te*ee,We=de*Te-ue*xe,st=ee*ue-me*de;if(s){if(be<0||We<0||st<0)return null}else if((be<0||We<0||st<0)&&(be>0||We>0||st>0))return null;let Ve=be+We+st;if(Ve===0)return null;let ut=se*(be*k+We*W+st*ce);return(Ve>0?ut<0:ut>0)?null:this.at(ut/Ve,r)}applyMatrix4(e){return this.origin.applyMatrix4(e),this.direction.transformDirection(e),this}equals(e){return e.origin.equals(this.origin)&&e.direction.equals(this.direction)}clone(){return new this.constructor().copy(this)}},vc=class extends Ss{constructor(e){super(),this.isMeshBasicMaterial=!0,this.type="MeshBasicMaterial",this.color=new je(16777215),this.map=null,this.lightMap=null,this.lightMapIntensity=1,this.aoMap=null,this.aoMapIntensity=1,this.specularMap=null,this.alphaMap=null,this.envMap=null,this.envMapRotation=new vs,this.combine=Zc,this.reflectivity=1,this.refractionRatio=.98,this.wireframe=!1,this.wireframeLinewidth=1,this.wireframeLinecap="round",this.wireframeLinejoin="round",this.fog=!0,this.setValues(e)}copy(e){return super.copy(e),this.color.copy(e.color),this.map=e.map,this.lightMap=e.lightMap,this.lightMapIntensity=e.lightMapIntensity,this.aoMap=e.aoMap,this.aoMapIntensity=e.aoMapIntensity,this.specularMap=e.specularMap,this.alphaMap=e.alphaMap,this.envMap=e.envMap,this.envMapRotation.copy(e.envMapRotation),this.combine=e.combine,this.reflectivity=e.reflectivity,this.refractionRatio=e.refractionRatio,this.wireframe=e.wireframe,this.wireframeLinewidth=e.wireframeLinewidth,this.wireframeLinecap=e.wireframeLinecap,this.wireframeLinejoin=e.wireframeLinejoin,this.fog=e.fog,this}},t0=new Dt,cr=new _a,Vl=new Ii,n0=new U,Gl=new U,Hl=new U,Wl=new U,Id=new U,Xl=new U,i0=new U,ql=new U,en=class extends In{constructor(e=new Qt,t=new vc){super(),this.isMesh=!0,this.type="Mesh",this.geometry=e,this.material=t,this.morphTargetDictionary=void 0,this.morphTargetInfluences=void 0,this.count=1,this.updateMorphTargets()}copy(e,t){return super.copy(e,t),e.morphTargetInfluences!==void 0?this.morphTargetInfluences=e.morphTargetInfluences.slice():this.morphTargetInfluences=void 0,e.morphTargetDictionary!==void 0?this.morphTargetDictionary=Object.assign({},e.morphTargetDictionary):this.morphTargetDictionary=void 0,this.material=Array.isArray(e.material)?e.material.slice():e.material,this.geometry=e.geometry,this}updateMorphTargets(){let t=this.geometry.morphAttributes,n=Object.keys(t);if(n.length>0){let s=t[n[0]];if(s!==void 0){this.morphTargetInfluences=[],this.morphTargetDictionary={};for(let r=0,o=s.length;r<o;r++){let a=s[r].name||String(r);this.morphTargetInfluences.push(0),this.morphTargetDictionary[a]=r}}}}getVertexPosition(e,t){let n=this.geometry,s=n.attributes.position,r=n.morphAttributes.position,o=n.morphTargetsRelative;t.fromBufferAttribute(s,e);let a=this.morphTargetInfluences;if(r&&a){Xl.set(0,0,0);for(let c=0,l=r.length;c<l;c++){let u=a[c],h=r[c];u!==0&&(Id.fromBufferAttribute(h,e),o?Xl.addScaledVector(Id,u):Xl.addScaledVector(Id.sub(t),u))}t.add(Xl)}return t}intersectsFrustum(e){return e.intersectsObject(this)}raycast(e,t){let n=this.geometry,s=this.material,r=this.matrixWorld;s!==void 0&&(n.boundingSphere===null&&n.computeBoundingSphere(),Vl.copy(n.boundingSphere),Vl.applyMatrix4(r),cr.copy(e.ray).recast(e.near),!(Vl.containsPoint(cr.origin)===!1&&(cr.intersectSphere(Vl,n0)===null||cr.origin.distanceToSquared(n0)>(e.far-e.near)**2))&&(t0.copy(r).invert(),cr.copy(e.ray).applyMatrix4(t0),!(n.boundingBox!==null&&cr.intersectsBox(n.boundingBox)===!1)&&this._computeIntersections(e,t,cr)))}_computeIntersections(e,t,n){let s,r=this.geometry,o=this.material,a=r.index,c=r.attributes.position,l=r.attributes.uv,u=r.attributes.uv1,h=r.attributes.normal,d=r.groups,f=r.drawRange;if(a!==null)if(Array.isArray(o))for(let g=0,y=d.length;g<y;g++){let m=d[g],p=o[m.materialIndex],v=Math.max(m.start,f.start),T=Math.min(a.count,Math.min(m.start+m.count,f.start+f.count));for(let S=v,C=T;S<C;S+=3){let E=a.getX(S),x=a.getX(S+1),A=a.getX(S+2);s=Yl(this,p,e,n,l,u,h,E,x,A),s&&(s.faceIndex=Math.floor(S/3),s.face.materialIndex=m.materialIndex,t.push(s))}}else{let g=Math.max(0,f.start),y=Math.min(a.count,f.start+f.count);for(let m=g,p=y;m<p;m+=3){let v=a.getX(m),T=a.getX(m+1),S=a.getX(m+2);s=Yl(this,o,e,n,l,u,h,v,T,S),s&&(s.faceIndex=Math.floor(m/3),t.push(s))}}else if(c!==void 0)if(Array.isArray(o))for(let g=0,y=d.length;g<y;g++){let m=d[g],p=o[m.materialIndex],v=Math.max(m.start,f.start),T=Math.min(c.count,Math.min(m.start+m.count,f.start+f.count));for(let S=v,C=T;S<C;S+=3){let E=S,x=S+1,A=S+2;s=Yl(this,p,e,n,l,u,h,E,x,A),s&&(s.faceIndex=Math.floor(S/3),s.face.materialIndex=m.materialIndex,t.push(s))}}else{let g=Math.max(0,f.start),y=Math.min(c.count,f.start+f.count);for(let m=g,p=y;m<p;m+=3){let v=m,T=m+1,S=m+2;s=Yl(this,o,e,n,l,u,h,v,T,S),s&&(s.faceIndex=Math.floor(m/3),t.push(s))}}}};function bS(i,e,t,n,s,r,o,a){let c;if(e.side===Cn?c=n.intersectTriangle(o,r,s,!0,a):c=n.intersectTriangle(s,r,o,e.side===qs,a),c===null)return null;ql.copy(a),ql.applyMatrix4(i.matrixWorld);let l=t.ray.origin.distanceTo(ql);return l<t.near||l>t.far?null:{distance:l,point:ql.clone(),object:i}}function Yl(i,e,t,n,s,r,o,a,c,l){i.getVertexPosition(a,Gl),i.getVertexPosition(c,Hl),i.getVertexPosition(l,Wl);let u=bS(i,e,t,n,Gl,Hl,Wl,i0);if(u){let h=new U;_s.getBarycoord(i0,Gl,Hl,Wl,h),s&&(u.uv=_s.getInterpolatedAttribute(s,a,c,l,h,new He)),r&&(u.uv1=_s.getInterpolatedAttribute(r,a,c,l,h,new He)),o&&(u.normal=_s.getInterpolatedAttribute(o,a,c,l,h,new U),u.normal.dot(n.direction)>0&&u.normal.multiplyScalar(-1));let d={a,b:c,c:l,normal:new U,materialIndex:0};_s.getNormal(Gl,Hl,Wl,d.normal),u.face=d,u.barycoord=h}return u}var Sc=class extends Kn{constructor(e=null,t=1,n=1,s,r,o,a,c,l=Tn,u=Tn,h,d){super(null,o,a,c,l,u,s,r,h,d),this.isDataTexture=!0,this.image={data:e,width:t,height:n},this.generateMipmaps=!1,this.flipY=!1,this.unpackAlignment=1}};var hr=new Ii,MS=new He(.5,.5),$l=new U,zs=class{constructor(e=new hi,t=new hi,n=new hi,s=new hi,r=new hi,o=new hi){this.planes=[e,t,n,s,r,o]}set(e,t,n,s,r,o){let a=this.planes;return a[0].copy(e),a[1].copy(t),a[2].copy(n),a[3].copy(s),a[4].copy(r),a[5].copy(o),this}copy(e){let t=this.planes;for(let n=0;n<6;n++)t[n].copy(e.planes[n]);return this}setFromProjectionMatrix(e,t=yi,n=!1){let s=this.planes,r=e.elements,o=r[0],a=r[1],c=r[2],l=r[3],u=r[4],h=r[5],d=r[6],f=r[7],g=r[8],y=r[9],m=r[10],p=r[11],v=r[12],T=r[13],S=r[14],C=r[15];if(s[0].setComponents(l-o,f-u,p-g,C-v).normalize(),s[1].setComponents(l+o,f+u,p+g,C+v).normalize(),s[2].setComponents(l+a,f+h,p+y,C+T).normalize(),s[3].setComponents(l-a,f-h,p-y,C-T).normalize(),n)s[4].setComponents(c,d,m,S).normalize(),s[5].setComponents(l-c,f-d,p-m,C-S).normalize();else if(s[4].setComponents(l-c,f-d,p-m,C-S).normalize(),t===yi)s[5].setComponents(l+c,f+d,p+m,C+S).normalize();else if(t===uo)s[5].setComponents(c,d,m,S).normalize();else throw new Error("THREE.Frustum.setFromProjectionMatrix(): Invalid coordinate system: "+t);return this}intersectsObject(e){if(e.boundingSphere!==void 0)e.boundingSphere===null&&e.computeBoundingSphere(),hr.copy(e.boundingSphere).applyMatrix4(e.matrixWorld);else{let t=e.geometry;t.boundingSphere===null&&t.computeBoundingSphere(),hr.copy(t.boundingSphere).applyMatrix4(e.matrixWorld)}return this.intersectsSphere(hr)}intersectsSprite(e){hr.center.set(0,0,0);let t=MS.distanceTo(e.center);return hr.radius=.7071067811865476+t,hr.applyMatrix4(e.matrixWorld),this.intersectsSphere(hr)}intersectsSphere(e){let t=this.planes,n=e.center,s=-e.radius;for(let r=0;r<6;r++)if(t[r].distanceToPoint(n)<s)return!1;return!0}intersectsBox(e){let t=this.planes;for(let n=0;n<6;n++){let s=t[n];if($l.x=s.normal.x>0?e.max.x:e.min.x,$l.y=s.normal.y>0?e.max.y:e.min.y,$l.z=s.normal.z>0?e.max.z:e.min.z,s.distanceToPoint($l)<0)return!1}return!0}containsPoint(e){let t=this.planes;for(let n=0;n<6;n++)if(t[n].distanceToPoint(e)<0)return!1;return!0}clone(){return new this.constructor().copy(this)}},s0=new Dt,bc=class i{constructor(){this.coordinateSystem=yi,this._frustums=[],this._count=0}setFromArrayCamera(e){let t=e.cameras,n=this._frustums;for(let s=0;s<t.length;s++){let r=t[s];s0.multiplyMatrices(r.projectionMatrix,r.matrixWorldInverse),n[s]===void 0&&(n[s]=new zs),n[s].setFromProjectionMatrix(s0,r.coordinateSystem,r.reversedDepth)}return this._count=t.length,this}getFrustum(e){return this._frustums[e]}intersectsObject(e){let t=this._frustums;for(let n=0;n<this._count;n++)if(t[n].intersectsObject(e))return!0;return!1}intersectsSprite(e){let t=this._frustums;for(let n=0;n<this._count;n++)if(t[n].intersectsSprite(e))return!0;return!1}intersectsSphere(e){let t=this._frustums;for(let n=0;n<this._count;n++)if(t[n].intersectsSphere(e))return!0;return!1}intersectsBox(e){let t=this._frustums;for(let n=0;n<this._count;n++)if(t[n].intersectsBox(e))return!0;return!1}containsPoint(e){let t=this._frustums;for(let n=0;n<this._count;n++)if(t[n].containsPoint(e))return!0;return!1}copy(e){this.coordinateSystem=e.coordinateSystem;let t=this._frustums,n=e._frustums;for(let s=0;s<e._count;s++)t[s]===void 0&&(t[s]=new zs),t[s].copy(n[s]);return this._count=e._count,this}clone(){return new i().copy(this)}};var ur=class extends Ss{constructor(e){super(),this.isLineBasicMaterial=!0,this.type="LineBasicMaterial",this.color=new je(16777215),this.map=null,this.linewidth=1,this.linecap="round",this.linejoin="round",this.fog=!0,this.setValues(e)}copy(e){return super.copy(e),this.color.copy(e.color),this.map=e.map,this.linewidth=e.linewidth,this.linecap=e.linecap,this.linejoin=e.linejoin,this.fog=e.fog,this}},Mc=new U,wc=new U,r0=new Dt,na=new _a,Zl=new Ii,Ld=new U,o0=new U,Ac=class extends In{constructor(e=new Qt,t=new ur){super(),this.isLine=!0,this.type="Line",this.geometry=e,this.material=t,this.morphTargetDictionary=void 0,this.morphTargetInfluences=void 0,this.updateMorphTargets()}copy(e,t){return super.copy(e,t),e.morphTargetInfluences!==void 0?this.morphTargetInfluences=e.morphTargetInfluences.slice():this.morphTargetInfluences=void 0,e.morphTargetDictionary!==void 0?this.morphTargetDictionary=Object.assign({},e.morphTargetDictionary):this.morphTargetDictionary=void 0,this.material=Array.isArray(e.material)?e.material.slice():e.material,this.geometry=e.geometry,this}computeLineDistances(){let e=this.geometry;if(e.index===null){let t=e.attributes.position,n=[0];for(let s=1,r=t.count;s<r;s++)Mc.fromBufferAttribute(t,s-1),wc.fromBufferAttribute(t,s),n[s]=n[s-1],n[s]+=Mc.distanceTo(wc);e.setAttribute("lineDistance",new mt(n,1))}else Ye("Line.computeLineDistances(): Computation only possible with non-indexed BufferGeometry.");return this}intersectsFrustum(e){return e.intersectsObject(this)}raycast(e,t){let n=this.geometry,s=this.matrixWorld,r=e.params.Line.threshold,o=n.drawRange;if(n.boundingSphere===null&&n.computeBoundingSphere(),Zl.copy(n.boundingSphere),Zl.applyMatrix4(s),Zl.radius+=r,e.ray.intersectsSphere(Zl)===!1)return;r0.copy(s).invert(),na.copy(e.ray).applyMatrix4(r0);let a=r/((this.scale.x+this.scale.y+this.scale.z)/3),c=a*a,l=this.isLineSegments?2:1,u=n.index,d=n.attributes.position;if(u!==null){let f=Math.max(0,o.start),g=Math.min(u.count,o.start+o.count);for(let y=f,m=g-1;y<m;y+=l){let p=u.getX(y),v=u.getX(y+1),T=Jl(this,e,na,c,p,v,y);T&&t.push(T)}if(this.isLineLoop){let y=u.getX(g-1),m=u.getX(f),p=Jl(this,e,na,c,y,m,g-1);p&&t.push(p)}}else{let f=Math.max(0,o.start),g=Math.min(d.count,o.start+o.count);for(let y=f,m=g-1;y<m;y+=l){let p=Jl(this,e,na,c,y,y+1,y);p&&t.push(p)}if(this.isLineLoop){let y=Jl(this,e,na,c,g-1,f,g-1);y&&t.push(y)}}}updateMorphTargets(){let t=this.geometry.morphAttributes,n=Object.keys(t);if(n.length>0){let s=t[n[0]];if(s!==void 0){this.morphTargetInfluences=[],this.morphTargetDictionary={};for(let r=0,o=s.length;r<o;r++){let a=s[r].name||String(r);this.morphTargetInfluences.push(0),this.morphTargetDictionary[a]=r}}}}};function Jl(i,e,t,n,s,r,o){let a=i.geometry.attributes.position;if(Mc.fromBufferAttribute(a,s),wc.fromBufferAttribute(a,r),t.distanceSqToSegment(Mc,wc,Ld,o0)>n)return;Ld.applyMatrix4(i.matrixWorld);let l=e.ray.origin.distanceTo(Ld);if(!(l<e.near||l>e.far))return{distance:l,point:o0.clone().applyMatrix4(i.matrixWorld),index:o,face:null,faceIndex:null,barycoord:null,object:i}}var a0=new U,l0=new U,_o=class extends Ac{constructor(e,t){super(e,t),this.isLineSegments=!0,this.type="LineSegments"}computeLineDistances(){let e=this.geometry;if(e.index===null){let t=e.attributes.position,n=[];for(let s=0,r=t.count;s<r;s+=2)a0.fromBufferAttribute(t,s),l0.fromBufferAttribute(t,s+1),n[s]=s===0?0:n[s-1],n[s+1]=n[s]+a0.distanceTo(l0);e.setAttribute("lineDistance",new mt(n,1))}else Ye("LineSegments.computeLineDistances(): Computation only possible with non-indexed BufferGeometry.");return this}};var xa=class extends Kn{constructor(e=[],t=pr,n,s,r,o,a,c,l,u){super(e,t,n,s,r,o,a,c,l,u),this.isCubeTexture=!0,this.flipY=!1}get images(){return this.image}set images(e){this.image=e}};var bs=class extends Kn{constructor(e,t,n=Ni,s,r,o,a=Tn,c=Tn,l,u=ys,h=1){if(u!==ys&&u!==ws)throw new Error("THREE.DepthTexture: format must be either THREE.DepthFormat or THREE.DepthStencilFormat");let d={width:e,height:t,depth:h};super(d,s,r,o,a,c,u,n,l),this.isDepthTexture=!0,this.flipY=!1,this.generateMipmaps=!1,this.compareFunction=null}copy(e){return super.copy(e),this.source=new mo(Object.assign({},e.image)),this.compareFunction=e.compareFunction,this}toJSON(e){let t=super.toJSON(e);return t.compareFunction=this.compareFunction,t}},ya=class extends bs{constructor(e,t=Ni,n=pr,s,r,o=Tn,a=Tn,c,l=ys){let u={width:e,height:e,depth:1},h=[u,u,u,u,u,u];super(e,e,t,n,s,r,o,a,c,l),this.image=h,this.isCubeDepthTexture=!0,this.isCubeTexture=!0}get images(){return this.image}set images(e){this.image=e}},va=class extends Kn{constructor(e=null){super(),this.sourceTexture=e,this.isExternalTexture=!0}copy(e){return super.copy(e),this.sourceTexture=e.sourceTexture,this}},Vs=class i extends Qt{constructor(e=1,t=1,n=1,s=1,r=1,o=1){super(),this.type="BoxGeometry",this.parameters={width:e,height:t,depth:n,widthSegments:s,heightSegments:r,depthSegments:o};let a=this;s=Math.floor(s),r=Math.floor(r),o=Math.floor(o);let c=[],l=[],u=[],h=[],d=0,f=0;g("z","y","x",-1,-1,n,t,e,o,r,0),g("z","y","x",1,-1,n,t,-e,o,r,1),g("x","z","y",1,1,e,n,t,s,o,2),g("x","z","y",1,-1,e,n,-t,s,o,3),g("x","y","z",1,-1,e,t,n,s,r,4),g("x","y","z",-1,-1,e,t,-n,s,r,5),this.setIndex(c),this.setAttribute("position",new mt(l,3)),this.setAttribute("normal",new mt(u,3)),this.setAttribute("uv",new mt(h,2));function g(y,m,p,v,T,S,C,E,x,A,F){let L=S/x,I=C/A,k=S/2,V=C/2,N=E/2,W=x+1,$=A+1,H=0,ce=0,K=new U;for(let Q=0;Q<$;Q++){let se=Q*I-V;for(let de=0;de<W;de++){let ue=de*L-k;K[y]=ue*v,K[m]=se*T,K[p]=N,l.push(K.x,K.y,K.z),K[y]=0,K[m]=0,K[p]=E>0?1:-1,u.push(K.x,K.y,K.z),h.push(de/x),h.push(1-Q/A),H+=1}}for(let Q=0;Q<A;Q++)for(let se=0;se<x;se++){let de=d+se+W*Q,ue=d+se+W*(Q+1),ee=d+(se+1)+W*(Q+1),me=d+(se+1)+W*Q;c.push(de,ue,me),c.push(ue,ee,me),ce+=6}a.addGroup(f,ce,F),f+=ce,d+=H}}copy(e){return super.copy(e),this.parameters=Object.assign({},e.parameters),this}static fromJSON(e){return new i(e.width,e.height,e.depth,e.widthSegments,e.heightSegments,e.depthSegments)}},Sa=class i extends Qt{constructor(e=1,t=1,n=4,s=8,r=1){super(),this.type="CapsuleGeometry",this.parameters={radius:e,height:t,capSegments:n,radialSegments:s,heightSegments:r},t=Math.max(0,t),n=Math.max(1,Math.floor(n)),s=Math.max(3,Math.floor(s)),r=Math.max(1,Math.floor(r));let o=[],a=[],c=[],l=[],u=t/2,h=Math.PI/2*e,d=t,f=2*h+d,g=n*2+r,y=s+1,m=new U,p=new U;for(let v=0;v<=g;v++){let T=0,S=0,C=0,E=0;if(v<=n){let F=v/n,L=F*Math.PI/2;S=-u-e*Math.cos(L),C=e*Math.sin(L),E=-e*Math.cos(L),T=F*h}else if(v<=n+r){let F=(v-n)/r;S=-u+F*t,C=e,E=0,T=h+F*d}else{let F=(v-n-r)/n,L=F*Math.PI/2;S=u+e*Math.sin(L),C=e*Math.cos(L),E=e*Math.sin(L),T=h+d+F*h}let x=Math.max(0,Math.min(1,T/f)),A=0;v===0?A=.5/s:v===g&&(A=-.5/s);for(let F=0;F<=s;F++){let L=F/s,I=L*Math.PI*2,k=Math.sin(I),V=Math.cos(I);p.x=-C*V,p.y=S,p.z=C*k,a.push(p.x,p.y,p.z),m.set(-C*V,E,C*k),m.normalize(),c.push(m.x,m.y,m.z),l.push(L+A,x)}if(v>0){let F=(v-1)*y;for(let L=0;L<s;L++){let I=F+L,k=F+L+1,V=v*y+L,N=v*y+L+1;o.push(I,k,V),o.push(k,N,V)}}}this.setIndex(o),this.setAttribute("position",new mt(a,3)),this.setAttribute("normal",new mt(c,3)),this.setAttribute("uv",new mt(l,2))}copy(e){return super.copy(e),this.parameters=Object.assign({},e.parameters),this}static fromJSON(e){return new i(e.radius,e.height,e.capSegments,e.radialSegments,e.heightSegments)}};var xo=class i extends Qt{constructor(e=1,t=1,n=1,s=32,r=1,o=!1,a=0,c=Math.PI*2){super(),this.type="CylinderGeometry",this.parameters={radiusTop:e,radiusBottom:t,height:n,radialSegments:s,heightSegments:r,openEnded:o,thetaStart:a,thetaLength:c};let l=this;s=Math.floor(s),r=Math.floor(r);let u=[],h=[],d=[],f=[],g=0,y=[],m=n/2,p=0;v(),o===!1&&(e>0&&T(!0),t>0&&T(!1)),this.setIndex(u),this.setAttribute("position",new mt(h,3)),this.setAttribute("normal",new mt(d,3)),this.setAttribute("uv",new mt(f,2));function v(){let S=new U,C=new U,E=0,x=(t-e)/n;for(let A=0;A<=r;A++){let F=[],L=A/r,I=L*(t-e)+e;for(let k=0;k<=s;k++){let V=k/s,N=V*c+a,W=Math.sin(N),$=Math.cos(N);C.x=I*W,C.y=-L*n+m,C.z=I*$,h.push(C.x,C.y,C.z),S.set(W,x,$).normalize(),d.push(S.x,S.y,S.z),f.push(V,1-L),F.push(g++)}y.push(F)}for(let A=0;A<s;A++)for(let F=0;F<r;F++){let L=y[F][A],I=y[F+1][A],k=y[F+1][A+1],V=y[F][A+1];(e>0||F!==0)&&(u.push(L,I,V),E+=3),(t>0||F!==r-1)&&(u.push(I,k,V),E+=3)}l.addGroup(p,E,0),p+=E}function T(S){let C=g,E=new He,x=new U,A=0,F=S===!0?e:t,L=S===!0?1:-1;for(let k=1;k<=s;k++)h.push(0,m*L,0),d.push(0,L,0),f.push(.5,.5),g++;let I=g;for(let k=0;k<=s;k++){let N=k/s*c+a,W=Math.cos(N),$=Math.sin(N);x.x=F*$,x.y=m*L,x.z=F*W,h.push(x.x,x.y,x.z),d.push(0,L,0),E.x=W*.5+.5,E.y=$*.5*L+.5,f.push(E.x,E.y),g++}for(let k=0;k<s;k++){let V=C+k,N=I+k;S===!0?u.push(N,N+1,V):u.push(N+1,N,V),A+=3}l.addGroup(p,A,S===!0?1:2),p+=A}}copy(e){return super.copy(e),this.parameters=Object.assign({},e.parameters),this}static fromJSON(e){return new i(e.radiusTop,e.radiusBottom,e.height,e.radialSegments,e.heightSegments,e.openEnded,e.thetaStart,e.thetaLength)}};var Kl=new U,jl=new U,Dd=new U,Ql=new _s,ba=class extends Qt{constructor(e=null,t=1){if(super(),this.type="EdgesGeometry",this.parameters={geometry:e,thresholdAngle:t},e!==null){let s=Math.pow(10,4),r=Math.cos(lo*t),o=e.getIndex(),a=e.getAttribute("position"),c=o?o.count:a.count,l=[0,0,0],u=["a","b","c"],h=new Array(3),d=new Map,f=[];for(let g=0;g<c;g+=3){o?(l[0]=o.getX(g),l[1]=o.getX(g+1),l[2]=o.getX(g+2)):(l[0]=g,l[1]=g+1,l[2]=g+2);let{a:y,b:m,c:p}=Ql;if(y.fromBufferAttribute(a,l[0]),m.fromBufferAttribute(a,l[1]),p.fromBufferAttribute(a,l[2]),Ql.getNormal(Dd),h[0]=`${Math.round(y.x*s)},${Math.round(y.y*s)},${Math.round(y.z*s)}`,h[1]=`${Math.round(m.x*s)},${Math.round(m.y*s)},${Math.round(m.z*s)}`,h[2]=`${Math.round(p.x*s)},${Math.round(p.y*s)},${Math.round(p.z*s)}`,!(h[0]===h[1]||h[1]===h[2]||h[2]===h[0]))for(let v=0;v<3;v++){let T=(v+1)%3,S=h[v],C=h[T],E=Ql[u[v]],x=Ql[u[T]],A=`${S}_${C}`,F=`${C}_${S}`,L=d.get(F);L?(Dd.dot(L.normal)<=r&&(f.push(E.x,E.y,E.z),f.push(x.x,x.y,x.z)),d.set(F,null)):d.has(A)||d.set(A,{index0:l[v],index1:l[T],normal:Dd.clone()})}}for(let g of d.values())if(g){let{index0:y,index1:m}=g;Kl.fromBufferAttribute(a,y),jl.fromBufferAttribute(a,m),f.push(Kl.x,Kl.y,Kl.z),f.push(jl.x,jl.y,jl.z)}this.setAttribute("position",new mt(f,3))}}copy(e){return super.copy(e),this.parameters=Object.assign({},e.parameters),this}},vi=class{constructor(){this.type="Curve",this.arcLengthDivisions=200,this.needsUpdate=!1,this.cacheArcLengths=null}getPoint(){Ye("Curve: .getPoint() not implemented.")}getPointAt(e,t){let n=this.getUtoTmapping(e);return this.getPoint(n,t)}getPoints(e=5){let t=[];for(let n=0;n<=e;n++)t.push(this.getPoint(n/e));return t}getSpacedPoints(e=5){let t=[];for(let n=0;n<=e;n++)t.push(this.getPointAt(n/e));return t}getLength(){let e=this.getLengths();return e[e.length-1]}getLengths(e=this.arcLengthDivisions){if(this.cacheArcLengths&&this.cacheArcLengths.length===e+1&&!this.needsUpdate)return this.cacheArcLengths;this.needsUpdate=!1;let t=[],n,s=this.getPoint(0),r=0;t.push(0);for(let o=1;o<=e;o++)n=this.getPoint(o/e),r+=n.distanceTo(s),t.push(r),s=n;return this.cacheArcLengths=t,t}updateArcLengths(){this.needsUpdate=!0,this.getLengths()}getUtoTmapping(e,t=null){let n=this.getLengths(),s=0,r=n.length,o;t?o=t:o=e*n[r-1];let a=0,c=r-1,l;for(;a<=c;)if(s=Math.floor(a+(c-a)/2),l=n[s]-o,l<0)a=s+1;else if(l>0)c=s-1;else{c=s;break}if(s=c,n[s]===o)return s/(r-1);let u=n[s],d=n[s+1]-u,f=(o-u)/d;return(s+f)/(r-1)}getTangent(e,t){let s=e-1e-4,r=e+1e-4;s<0&&(s=0),r>1&&(r=1);let o=this.getPoint(s),a=this.getPoint(r),c=t||(o.isVector2?new He:new U);return c.copy(a).sub(o).normalize(),c}getTangentAt(e,t){let n=this.getUtoTmapping(e);return this.getTangent(n,t)}computeFrenetFrames(e,t=!1){let n=new U,s=[],r=[],o=[],a=new U,c=new Dt;for(let f=0;f<=e;f++){let g=f/e;s[f]=this.getTangentAt(g,new U)}r[0]=new U,o[0]=new U;let l=Number.MAX_VALUE,u=Math.abs(s[0].x),h=Math.abs(s[0].y),d=Math.abs(s[0].z);u<=l&&(l=u,n.set(1,0,0)),h<=l&&(l=h,n.set(0,1,0)),d<=l&&n.set(0,0,1),a.crossVectors(s[0],n).normalize(),r[0].crossVectors(s[0],a),o[0].crossVectors(s[0],r[0]);for(let f=1;f<=e;f++){if(r[f]=r[f-1].clone(),o[f]=o[f-1].clone(),a.crossVectors(s[f-1],s[f]),a.length()>Number.EPSILON){a.normalize();let g=Math.acos(ot(s[f-1].dot(s[f]),-1,1));r[f].applyMatrix4(c.makeRotationAxis(a,g))}o[f].crossVectors(s[f],r[f])}if(t===!0){let f=Math.acos(ot(r[0].dot(r[e]),-1,1));f/=e,s[0].dot(a.crossVectors(r[0],r[e]))>0&&(f=-f);for(let g=1;g<=e;g++)r[g].applyMatrix4(c.makeRotationAxis(s[g],f*g)),o[g].crossVectors(s[g],r[g])}return{tangents:s,normals:r,binormals:o}}clone(){return new this.constructor().copy(this)}copy(e){return this.arcLengthDivisions=e.arcLengthDivisions,this.cacheArcLengths=null,this}toJSON(){let e={metadata:{version:4.7,type:"Curve",generator:"Curve.toJSON"}};return e.arcLengthDivisions=this.arcLengthDivisions,e.type=this.type,e}fromJSON(e){return this.arcLengthDivisions=e.arcLengthDivisions,this.cacheArcLengths=null,this}},Ma=class extends vi{constructor(e=0,t=0,n=1,s=1,r=0,o=Math.PI*2,a=!1,c=0){super(),this.isEllipseCurve=!0,this.type="EllipseCurve",this.aX=e,this.aY=t,this.xRadius=n,this.yRadius=s,this.aStartAngle=r,this.aEndAngle=o,this.aClockwise=a,this.aRotation=c}getPoint(e,t=new He){let n=t,s=Math.PI*2,r=this.aEndAngle-this.aStartAngle,o=Math.abs(r)<Number.EPSILON;for(;r<0;)r+=s;for(;r>s;)r-=s;r<Number.EPSILON&&(o?r=0:r=s),this.aClockwise===!0&&!o&&(r===s?r=-s:r=r-s);let a=this.aStartAngle+e*r,c=this.aX+this.xRadius*Math.cos(a),l=this.aY+this.yRadius*Math.sin(a);if(this.aRotation!==0){let u=Math.cos(this.aRotation),h=Math.sin(this.aRotation),d=c-this.aX,f=l-this.aY;c=d*u-f*h+this.aX,l=d*h+f*u+this.aY}return n.set(c,l)}copy(e){return super.copy(e),this.aX=e.aX,this.aY=e.aY,this.xRadius=e.xRadius,this.yRadius=e.yRadius,this.aStartAngle=e.aStartAngle,this.aEndAngle=e.aEndAngle,this.aClockwise=e.aClockwise,this.aRotation=e.aRotation,this}toJSON(){let e=super.toJSON();return e.aX=this.aX,e.aY=this.aY,e.xRadius=this.xRadius,e.yRadius=this.yRadius,e.aStartAngle=this.aStartAngle,e.aEndAngle=this.aEndAngle,e.aClockwise=this.aClockwise,e.aRotation=this.aRotation,e}fromJSON(e){return super.fromJSON(e),this.aX=e.aX,this.aY=e.aY,this.xRadius=e.xRadius,this.yRadius=e.yRadius,this.aStartAngle=e.aStartAngle,this.aEndAngle=e.aEndAngle,this.aClockwise=e.aClockwise,this.aRotation=e.aRotation,this}},Ec=class extends Ma{constructor(e,t,n,s,r,o){super(e,t,n,n,s,r,o),this.isArcCurve=!0,this.type="ArcCurve"}};function wf(){let i=0,e=0,t=0,n=0;function s(r,o,a,c){i=r,e=a,t=-3*r+3*o-2*a-c,n=2*r-2*o+a+c}return{initCatmullRom:function(r,o,a,c,l){s(o,a,l*(a-r),l*(c-o))},initNonuniformCatmullRom:function(r,o,a,c,l,u,h){let d=(o-r)/l-(a-r)/(l+u)+(a-o)/u,f=(a-o)/u-(c-o)/(u+h)+(c-a)/h;d*=u,f*=u,s(o,a,d,f)},calc:function(r){let o=r*r,a=o*r;return i+e*r+t*o+n*a}}}var c0=new U,h0=new U,Nd=new wf,Ud=new wf,Fd=new wf,yo=class extends vi{constructor(e=[],t=!1,n="centripetal",s=.5){super(),this.isCatmullRomCurve3=!0,this.type="CatmullRomCurve3",this.points=e,this.closed=t,this.curveType=n,this.tension=s}getPoint(e,t=new U){let n=t,s=this.points,r=s.length,o=(r-(this.closed?0:1))*e,a=Math.floor(o),c=o-a;this.closed?a+=a>0?0:(Math.floor(Math.abs(a)/r)+1)*r:c===0&&a===r-1&&(a=r-2,c=1);let l,u;this.closed||a>0?l=s[(a-1)%r]:(h0.subVectors(s[0],s[1]).add(s[0]),l=h0);let h=s[a%r],d=s[(a+1)%r];if(this.closed||a+2<r?u=s[(a+2)%r]:(c0.subVectors(s[r-1],s[r-2]).add(s[r-1]),u=c0),this.curveType==="centripetal"||this.curveType==="chordal"){let f=this.curveType==="chordal"?.5:.25,g=Math.pow(l.distanceToSquared(h),f),y=Math.pow(h.distanceToSquared(d),f),m=Math.pow(d.distanceToSquared(u),f);y<1e-4&&(y=1),g<1e-4&&(g=y),m<1e-4&&(m=y),Nd.initNonuniformCatmullRom(l.x,h.x,d.x,u.x,g,y,m),Ud.initNonuniformCatmullRom(l.y,h.y,d.y,u.y,g,y,m),Fd.initNonuniformCatmullRom(l.z,h.z,d.z,u.z,g,y,m)}else this.curveType==="catmullrom"&&(Nd.initCatmullRom(l.x,h.x,d.x,u.x,this.tension),Ud.initCatmullRom(l.y,h.y,d.y,u.y,this.tension),Fd.initCatmullRom(l.z,h.z,d.z,u.z,this.tension));return n.set(Nd.calc(c),Ud.calc(c),Fd.calc(c)),n}copy(e){super.copy(e),this.points=[];for(let t=0,n=e.points.length;t<n;t++){let s=e.points[t];this.points.push(s.clone())}return this.closed=e.closed,this.curveType=e.curveType,this.tension=e.tension,this}toJSON(){let e=super.toJSON();e.points=[];for(let t=0,n=this.points.length;t<n;t++){let s=this.points[t];e.points.push(s.toArray())}return e.closed=this.closed,e.curveType=this.curveType,e.tension=this.tension,e}fromJSON(e){super.fromJSON(e),this.points=[];for(let t=0,n=e.points.length;t<n;t++){let s=e.points[t];this.points.push(new U().fromArray(s))}return this.closed=e.closed,this.curveType=e.curveType,this.tension=e.tension,this}};function u0(i,e,t,n,s){let r=(n-e)*.5,o=(s-t)*.5,a=i*i,c=i*a;return(2*t-2*n+r+o)*c+(-3*t+3*n-2*r-o)*a+r*i+t}function wS(i,e){let t=1-i;return t*t*e}function AS(i,e){return 2*(1-i)*i*e}function ES(i,e){return i*i*e}function ra(i,e,t,n){return wS(i,e)+AS(i,t)+ES(i,n)}function TS(i,e){let t=1-i;return t*t*t*e}function CS(i,e){let t=1-i;return 3*t*t*i*e}function RS(i,e){return 3*(1-i)*i*i*e}function PS(i,e){return i*i*i*e}function oa(i,e,t,n,s){return TS(i,e)+CS(i,t)+RS(i,n)+PS(i,s)}var Tc=class extends vi{constructor(e=new He,t=new He,n=new He,s=new He){super(),this.isCubicBezierCurve=!0,this.type="CubicBezierCurve",this.v0=e,this.v1=t,this.v2=n,this.v3=s}getPoint(e,t=new He){let n=t,s=this.v0,r=this.v1,o=this.v2,a=this.v3;return n.set(oa(e,s.x,r.x,o.x,a.x),oa(e,s.y,r.y,o.y,a.y)),n}copy(e){return super.copy(e),this.v0.copy(e.v0),this.v1.copy(e.v1),this.v2.copy(e.v2),this.v3.copy(e.v3),this}toJSON(){let e=super.toJSON();return e.v0=this.v0.toArray(),e.v1=this.v1.toArray(),e.v2=this.v2.toArray(),e.v3=this.v3.toArray(),e}fromJSON(e){return super.fromJSON(e),this.v0.fromArray(e.v0),this.v1.fromArray(e.v1),this.v2.fromArray(e.v2),this.v3.fromArray(e.v3),this}},Cc=class extends vi{constructor(e=new U,t=new U,n=new U,s=new U){super(),this.isCubicBezierCurve3=!0,this.type="CubicBezierCurve3",this.v0=e,this.v1=t,this.v2=n,this.v3=s}getPoint(e,t=new U){let n=t,s=this.v0,r=this.v1,o=this.v2,a=this.v3;return n.set(oa(e,s.x,r.x,o.x,a.x),oa(e,s.y,r.y,o.y,a.y),oa(e,s.z,r.z,o.z,a.z)),n}copy(e){return super.copy(e),this.v0.copy(e.v0),this.v1.copy(e.v1),this.v2.copy(e.v2),this.v3.copy(e.v3),this}toJSON(){let e=super.toJSON();return e.v0=this.v0.toArray(),e.v1=this.v1.toArray(),e.v2=this.v2.toArray(),e.v3=this.v3.toArray(),e}fromJSON(e){return super.fromJSON(e),this.v0.fromArray(e.v0),this.v1.fromArray(e.v1),this.v2.fromArray(e.v2),this.v3.fromArray(e.v3),this}},Rc=class extends vi{constructor(e=new He,t=new He){super(),this.isLineCurve=!0,this.type="LineCurve",this.v1=e,this.v2=t}getPoint(e,t=new He){let n=t;return e===1?n.copy(this.v2):(n.copy(this.v2).sub(this.v1),n.multiplyScalar(e).add(this.v1)),n}getPointAt(e,t){return this.getPoint(e,t)}getTangent(e,t=new He){return t.subVectors(this.v2,this.v1).normalize()}getTangentAt(e,t){return this.getTangent(e,t)}copy(e){return super.copy(e),this.v1.copy(e.v1),this.v2.copy(e.v2),this}toJSON(){let e=super.toJSON();return e.v1=this.v1.toArray(),e.v2=this.v2.toArray(),e}fromJSON(e){return super.fromJSON(e),this.v1.fromArray(e.v1),this.v2.fromArray(e.v2),this}},Pc=class extends vi{constructor(e=new U,t=new U){super(),this.isLineCurve3=!0,this.type="LineCurve3",this.v1=e,this.v2=t}getPoint(e,t=new U){let n=t;return e===1?n.copy(this.v2):(n.copy(this.v2).sub(this.v1),n.multiplyScalar(e).add(this.v1)),n}getPointAt(e,t){return this.getPoint(e,t)}getTangent(e,t=new U){return t.subVectors(this.v2,this.v1).normalize()}getTangentAt(e,t){return this.getTangent(e,t)}copy(e){return super.copy(e),this.v1.copy(e.v1),this.v2.copy(e.v2),this}toJSON(){let e=super.toJSON();return e.v1=this.v1.toArray(),e.v2=this.v2.toArray(),e}fromJSON(e){return super.fromJSON(e),this.v1.fromArray(e.v1),this.v2.fromArray(e.v2),this}},Ic=class extends vi{constructor(e=new He,t=new He,n=new He){super(),this.isQuadraticBezierCurve=!0,this.type="QuadraticBezierCurve",this.v0=e,this.v1=t,this.v2=n}getPoint(e,t=new He){let n=t,s=this.v0,r=this.v1,o=this.v2;return n.set(ra(e,s.x,r.x,o.x),ra(e,s.y,r.y,o.y)),n}copy(e){return super.copy(e),this.v0.copy(e.v0),this.v1.copy(e.v1),this.v2.copy(e.v2),this}toJSON(){let e=super.toJSON();return e.v0=this.v0.toArray(),e.v1=this.v1.toArray(),e.v2=this.v2.toArray(),e}fromJSON(e){return super.fromJSON(e),this.v0.fromArray(e.v0),this.v1.fromArray(e.v1),this.v2.fromArray(e.v2),this}},wa=class extends vi{constructor(e=new U,t=new U,n=new U){super(),this.isQuadraticBezierCurve3=!0,this.type="QuadraticBezierCurve3",this.v0=e,this.v1=t,this.v2=n}getPoint(e,t=new U){let n=t,s=this.v0,r=this.v1,o=this.v2;return n.set(ra(e,s.x,r.x,o.x),ra(e,s.y,r.y,o.y),ra(e,s.z,r.z,o.z)),n}copy(e){return super.copy(e),this.v0.copy(e.v0),this.v1.copy(e.v1),this.v2.copy(e.v2),this}toJSON(){let e=super.toJSON();return e.v0=this.v0.toArray(),e.v1=this.v1.toArray(),e.v2=this.v2.toArray(),e}fromJSON(e){return super.fromJSON(e),this.v0.fromArray(e.v0),this.v1.fromArray(e.v1),this.v2.fromArray(e.v2),this}},Lc=class extends vi{constructor(e=[]){super(),this.isSplineCurve=!0,this.type="SplineCurve",this.points=e}getPoint(e,t=new He){let n=t,s=this.points,r=(s.length-1)*e,o=Math.floor(r),a=r-o,c=s[o===0?o:o-1],l=s[o],u=s[o>s.length-2?s.length-1:o+1],h=s[o>s.length-3?s.length-1:o+2];return n.set(u0(a,c.x,l.x,u.x,h.x),u0(a,c.y,l.y,u.y,h.y)),n}copy(e){super.copy(e),this.points=[];for(let t=0,n=e.points.length;t<n;t++){let s=e.points[t];this.points.push(s.clone())}return this}toJSON(){let e=super.toJSON();e.points=[];for(let t=0,n=this.points.length;t<n;t++){let s=this.points[t];e.points.push(s.toArray())}return e}fromJSON(e){super.fromJSON(e),this.points=[];for(let t=0,n=e.points.length;t<n;t++){let s=e.points[t];this.points.push(new He().fromArray(s))}return this}},IS=Object.freeze({__proto__:null,ArcCurve:Ec,CatmullRomCurve3:yo,CubicBezierCurve:Tc,CubicBezierCurve3:Cc,EllipseCurve:Ma,LineCurve:Rc,LineCurve3:Pc,QuadraticBezierCurve:Ic,QuadraticBezierCurve3:wa,SplineCurve:Lc});var Aa=class i extends Qt{constructor(e=1,t=1,n=1,s=1){super(),this.type="PlaneGeometry",this.parameters={width:e,height:t,widthSegments:n,heightSegments:s};let r=e/2,o=t/2,a=Math.floor(n),c=Math.floor(s),l=a+1,u=c+1,h=e/a,d=t/c,f=[],g=[],y=[],m=[];for(let p=0;p<u;p++){let v=p*d-o;for(let T=0;T<l;T++){let S=T*h-r;g.push(S,-v,0),y.push(0,0,1),m.push(T/a),m.push(1-p/c)}}for(let p=0;p<c;p++)for(let v=0;v<a;v++){let T=v+l*p,S=v+l*(p+1),C=v+1+l*(p+1),E=v+1+l*p;f.push(T,S,E),f.push(S,C,E)}this.setIndex(f),this.setAttribute("position",new mt(g,3)),this.setAttribute("normal",new mt(y,3)),this.setAttribute("uv",new mt(m,2))}copy(e){return super.copy(e),this.parameters=Object.assign({},e.parameters),this}static fromJSON(e){return new i(e.width,e.height,e.widthSegments,e.heightSegments)}};var Ea=class i extends Qt{constructor(e=1,t=32,n=16,s=0,r=Math.PI*2,o=0,a=Math.PI){super(),this.type="SphereGeometry",this.parameters={radius:e,widthSegments:t,heightSegments:n,phiStart:s,phiLength:r,thetaStart:o,thetaLength:a},t=Math.max(3,Math.floor(t)),n=Math.max(2,Math.floor(n));let c=Math.min(o+a,Math.PI),l=0,u=[],h=new U,d=new U,f=[],g=[],y=[],m=[];for(let p=0;p<=n;p++){let v=[],T=p/n,S=o+T*a,C=e*Math.cos(S),E=Math.sqrt(e*e-C*C),x=0;p===0&&o===0?x=.5/t:p===n&&c===Math.PI&&(x=-.5/t);for(let A=0;A<=t;A++){let F=A/t,L=s+F*r;h.x=-E*Math.cos(L),h.y=C,h.z=E*Math.sin(L),g.push(h.x,h.y,h.z),d.copy(h).normalize(),y.push(d.x,d.y,d.z),m.push(F+x,1-T),v.push(l++)}u.push(v)}for(let p=0;p<n;p++)for(let v=0;v<t;v++){let T=u[p][v+1],S=u[p][v],C=u[p+1][v],E=u[p+1][v+1];(p!==0||o>0)&&f.push(T,S,E),(p!==n-1||c<Math.PI)&&f.push(S,C,E)}this.setIndex(f),this.setAttribute("position",new mt(g,3)),this.setAttribute("normal",new mt(y,3)),this.setAttribute("uv",new mt(m,2))}copy(e){return super.copy(e),this.parameters=Object.assign({},e.parameters),this}static fromJSON(e){return new i(e.radius,e.widthSegments,e.heightSegments,e.phiStart,e.phiLength,e.thetaStart,e.thetaLength)}};var Ta=class i extends Qt{constructor(e=new wa(new U(-1,-1,0),new U(-1,1,0),new U(1,1,0)),t=64,n=1,s=8,r=!1){super(),this.type="TubeGeometry",this.parameters={path:e,tubularSegments:t,radius:n,radialSegments:s,closed:r};let o=e.computeFrenetFrames(t,r);this.tangents=o.tangents,this.normals=o.normals,this.binormals=o.binormals;let a=new U,c=new U,l=new He,u=new U,h=[],d=[],f=[],g=[];y(),this.setIndex(g),this.setAttribute("position",new mt(h,3)),this.setAttribute("normal",new mt(d,3)),this.setAttribute("uv",new mt(f,2));function y(){for(let T=0;T<t;T++)m(T);m(r===!1?t:0),v(),p()}function m(T){u=e.getPointAt(T/t,u);let S=o.normals[T],C=o.binormals[T];for(let E=0;E<=s;E++){let x=E/s*Math.PI*2,A=Math.sin(x),F=-Math.cos(x);c.x=F*S.x+A*C.x,c.y=F*S.y+A*C.y,c.z=F*S.z+A*C.z,c.normalize(),d.push(c.x,c.y,c.z),a.x=u.x+n*c.x,a.y=u.y+n*c.y,a.z=u.z+n*c.z,h.push(a.x,a.y,a.z)}}function p(){for(let T=1;T<=t;T++)for(let S=1;S<=s;S++){let C=(s+1)*(T-1)+(S-1),E=(s+1)*T+(S-1),x=(s+1)*T+S,A=(s+1)*(T-1)+S;g.push(C,E,A),g.push(E,x,A)}}function v(){for(let T=0;T<=t;T++)for(let S=0;S<=s;S++)l.x=T/t,l.y=S/s,f.push(l.x,l.y)}}copy(e){return super.copy(e),this.parameters=Object.assign({},e.parameters),this}toJSON(){let e=super.toJSON();return e.path=this.parameters.path.toJSON(),e}static fromJSON(e){return new i(new IS[e.path.type]().fromJSON(e.path),e.tubularSegments,e.radius,e.radialSegments,e.closed)}},Ca=class extends Qt{constructor(e=null){if(super(),this.type="WireframeGeometry",this.parameters={geometry:e},e!==null){let t=[],n=new Set,s=new U,r=new U;if(e.index!==null){let o=e.attributes.position,a=e.index,c=e.groups;c.length===0&&(c=[{start:0,count:a.count,materialIndex:0}]);for(let l=0,u=c.length;l<u;++l){let h=c[l],d=h.start,f=h.count;for(let g=d,y=d+f;g<y;g+=3)for(let m=0;m<3;m++){let p=a.getX(g+m),v=a.getX(g+(m+1)%3);s.fromBufferAttribute(o,p),r.fromBufferAttribute(o,v),d0(s,r,n)===!0&&(t.push(s.x,s.y,s.z),t.push(r.x,r.y,r.z))}}}else{let o=e.attributes.position;for(let a=0,c=o.count/3;a<c;a++)for(let l=0;l<3;l++){let u=3*a+l,h=3*a+(l+1)%3;s.fromBufferAttribute(o,u),r.fromBufferAttribute(o,h),d0(s,r,n)===!0&&(t.push(s.x,s.y,s.z),t.push(r.x,r.y,r.z))}}this.setAttribute("position",new mt(t,3))}}copy(e){return super.copy(e),this.parameters=Object.assign({},e.parameters),this}};function d0(i,e,t){let n=`${i.x},${i.y},${i.z}-${e.x},${e.y},${e.z}`,s=`${e.x},${e.y},${e.z}-${i.x},${i.y},${i.z}`;return t.has(n)===!0||t.has(s)===!0?!1:(t.add(n),t.add(s),!0)}function gr(i){let e={};for(let t in i){e[t]={};for(let n in i[t]){let s=i[t][n];if(f0(s))s.isRenderTargetTexture?(Ye("UniformsUtils: Textures of render targets cannot be cloned via cloneUniforms() or mergeUniforms()."),e[t][n]=null):e[t][n]=s.clone();else if(Array.isArray(s))if(f0(s[0])){let r=[];for(let o=0,a=s.length;o<a;o++)r[o]=s[o].clone();e[t][n]=r}else e[t][n]=s.slice();else e[t][n]=s}}return e}function kn(i){let e={};for(let t=0;t<i.length;t++){let n=gr(i[t]);for(let s in n)e[s]=n[s]}return e}function f0(i){return i&&(i.isColor||i.isMatrix3||i.isMatrix4||i.isVector2||i.isVector3||i.isVector4||i.isTexture||i.isQuaternion)}function LS(i){let e=[];for(let t=0;t<i.length;t++)e.push(i[t].clone());return e}function Af(i){let e=i.getRenderTarget();return e===null?i.outputColorSpace:e.isXRRenderTarget===!0?e.texture.colorSpace:xt.workingColorSpace}var qa={clone:gr,merge:kn},DS=`void main() {
	gl_Position = projectionMatrix * modelViewMatrix * vec4( position, 1.0 );
}`,NS=`void main() {
	gl_FragColor = vec4( 1.0, 0.0, 0.0, 1.0 );
}`,Zn=class extends Ss{constructor(e){super(),this.isShaderMaterial=!0,this.type="ShaderMaterial",this.defines={},this.uniforms={},this.uniformsGroups=[],this.vertexShader=DS,this.fragmentShader=NS,this.linewidth=1,this.wireframe=!1,this.wireframeLinewidth=1,this.fog=!1,this.lights=!1,this.clipping=!1,this.forceSinglePass=!0,this.extensions={clipCullDistance:!1,multiDraw:!1},this.defaultAttributeValues={color:[1,1,1],uv:[0,0],uv1:[0,0]},this.index0AttributeName=void 0,this.uniformsNeedUpdate=!1,this.glslVersion=null,e!==void 0&&this.setValues(e)}copy(e){return super.copy(e),this.fragmentShader=e.fragmentShader,this.vertexShader=e.vertexShader,this.uniforms=gr(e.uniforms),this.uniformsGroups=LS(e.uniformsGroups),this.defines=Object.assign({},e.defines),this.wireframe=e.wireframe,this.wireframeLinewidth=e.wireframeLinewidth,this.fog=e.fog,this.lights=e.lights,this.clipping=e.clipping,this.extensions=Object.assign({},e.extensions),this.glslVersion=e.glslVersion,this.defaultAttributeValues=Object.assign({},e.defaultAttributeValues),this.index0AttributeName=e.index0AttributeName,this.uniformsNeedUpdate=e.uniformsNeedUpdate,this}toJSON(e){let t=super.toJSON(e);t.glslVersion=this.glslVersion,t.uniforms={};for(let s in this.uniforms){let o=this.uniforms[s].value;o&&o.isTexture?t.uniforms[s]={type:"t",value:o.toJSON(e).uuid}:o&&o.isColor?t.uniforms[s]={type:"c",value:o.getHex()}:o&&o.isVector2?t.uniforms[s]={type:"v2",value:o.toArray()}:o&&o.isVector3?t.uniforms[s]={type:"v3",value:o.toArray()}:o&&o.isVector4?t.uniforms[s]={type:"v4",value:o.toArray()}:o&&o.isMatrix3?t.uniforms[s]={type:"m3",value:o.toArray()}:o&&o.isMatrix4?t.uniforms[s]={type:"m4",value:o.toArray()}:t.uniforms[s]={value:o}}Object.keys(this.defines).length>0&&(t.defines=this.defines),t.vertexShader=this.vertexShader,t.fragmentShader=this.fragmentShader,t.lights=this.lights,t.clipping=this.clipping;let n={};for(let s in this.extensions)this.extensions[s]===!0&&(n[s]=!0);return Object.keys(n).length>0&&(t.extensions=n),t}fromJSON(e,t){if(super.fromJSON(e,t),e.uniforms!==void 0)for(let n in e.uniforms){let s=e.uniforms[n];switch(this.uniforms[n]={},s.type){case"t":this.uniforms[n].value=t[s.value]||null;break;case"c":this.uniforms[n].value=new je().setHex(s.value);break;case"v2":this.uniforms[n].value=new He().fromArray(s.value);break;case"v3":this.uniforms[n].value=new U().fromArray(s.value);break;case"v4":this.uniforms[n].value=new Et().fromArray(s.value);break;case"m3":this.uniforms[n].value=new tt().fromArray(s.value);break;case"m4":this.uniforms[n].value=new Dt().fromArray(s.value);break;default:this.uniforms[n].value=s.value}}if(e.defines!==void 0&&(this.defines=e.defines),e.vertexShader!==void 0&&(this.vertexShader=e.vertexShader),e.fragmentShader!==void 0&&(this.fragmentShader=e.fragmentShader),e.glslVersion!==void 0&&(this.glslVersion=e.glslVersion),e.extensions!==void 0)for(let n in e.extensions)this.extensions[n]=e.extensions[n];return e.lights!==void 0&&(this.lights=e.lights),e.clipping!==void 0&&(this.clipping=e.clipping),this}},Dc=class extends Zn{constructor(e){super(e),this.isRawShaderMaterial=!0,this.type="RawShaderMaterial"}};var Di=class extends Ss{constructor(e){super(),this.isMeshPhongMaterial=!0,this.type="MeshPhongMaterial",this.color=new je(16777215),this.specular=new je(1118481),this.shininess=30,this.map=null,this.lightMap=null,this.lightMapIntensity=1,this.aoMap=null,this.aoMapIntensity=1,this.emissive=new je(0),this.emissiveIntensity=1,this.emissiveMap=null,this.bumpMap=null,this.bumpScale=1,this.normalMap=null,this.normalMapType=Uh,this.normalScale=new He(1,1),this.displacementMap=null,this.displacementScale=1,this.displacementBias=0,this.specularMap=null,this.alphaMap=null,this.envMap=null,this.envMapRotation=new vs,this.combine=Zc,this.reflectivity=1,this.envMapIntensity=1,this.refractionRatio=.98,this.wireframe=!1,this.wireframeLinewidth=1,this.wireframeLinecap="round",this.wireframeLinejoin="round",this.flatShading=!1,this.fog=!0,this.setValues(e)}copy(e){return super.copy(e),this.color.copy(e.color),this.specular.copy(e.specular),this.shininess=e.shininess,this.map=e.map,this.lightMap=e.lightMap,this.lightMapIntensity=e.lightMapIntensity,this.aoMap=e.aoMap,this.aoMapIntensity=e.aoMapIntensity,this.emissive.copy(e.emissive),this.emissiveMap=e.emissiveMap,this.emissiveIntensity=e.emissiveIntensity,this.bumpMap=e.bumpMap,this.bumpScale=e.bumpScale,this.normalMap=e.normalMap,this.normalMapType=e.normalMapType,this.normalScale.copy(e.normalScale),this.displacementMap=e.displacementMap,this.displacementScale=e.displacementScale,this.displacementBias=e.displacementBias,this.specularMap=e.specularMap,this.alphaMap=e.alphaMap,this.envMap=e.envMap,this.envMapRotation.copy(e.envMapRotation),this.combine=e.combine,this.reflectivity=e.reflectivity,this.envMapIntensity=e.envMapIntensity,this.refractionRatio=e.refractionRatio,this.wireframe=e.wireframe,this.wireframeLinewidth=e.wireframeLinewidth,this.wireframeLinecap=e.wireframeLinecap,this.wireframeLinejoin=e.wireframeLinejoin,this.flatShading=e.flatShading,this.fog=e.fog,this}};var Nc=class extends Ss{constructor(e){super(),this.isMeshDepthMaterial=!0,this.type="MeshDepthMaterial",this.depthPacking=X0,this.map=null,this.alphaMap=null,this.displacementMap=null,this.displacementScale=1,this.displacementBias=0,this.wireframe=!1,this.wireframeLinewidth=1,this.setValues(e)}copy(e){return super.copy(e),this.depthPacking=e.depthPacking,this.map=e.map,this.alphaMap=e.alphaMap,this.displacementMap=e.displacementMap,this.displacementScale=e.displacementScale,this.displacementBias=e.displacementBias,this.wireframe=e.wireframe,this.wireframeLinewidth=e.wireframeLinewidth,this}},Uc=class extends Ss{constructor(e){super(),this.isMeshDistanceMaterial=!0,this.type="MeshDistanceMaterial",this.map=null,this.alphaMap=null,this.displacementMap=null,this.displacementScale=1,this.displacementBias=0,this.setValues(e)}copy(e){return super.copy(e),this.map=e.map,this.alphaMap=e.alphaMap,this.displacementMap=e.displacementMap,this.displacementScale=e.displacementScale,this.displacementBias=e.displacementBias,this}};function io(i,e){return!i||i.constructor===e?i:typeof e.BYTES_PER_ELEMENT=="number"?new e(i):Array.prototype.slice.call(i)}function ec(i){return i!==void 0&&i.inTangents!==void 0&&i.outTangents!==void 0}var Gs=class{constructor(e,t,n,s){this.parameterPositions=e,this._cachedIndex=0,this.resultBuffer=s!==void 0?s:new t.constructor(n),this.sampleValues=t,this.valueSize=n,this.settings=null,this.DefaultSettings_={}}evaluate(e){let t=this.parameterPositions,n=this._cachedIndex,s=t[n],r=t[n-1];e:{t:{let o;n:{i:if(!(e<s)){for(let a=n+2;;){if(s===void 0){if(e<r)break i;return n=t.length,this._cachedIndex=n,this.copySampleValue_(n-1)}if(n===a)break;if(r=s,s=t[++n],e<s)break t}o=t.length;break n}if(!(e>=r)){let a=t[1];e<a&&(n=2,r=a);for(let c=n-2;;){if(r===void 0)return this._cachedIndex=0,this.copySampleValue_(0);if(n===c)break;if(s=r,r=t[--n-1],e>=r)break t}o=n,n=0;break n}break e}for(;n<o;){let a=n+o>>>1;e<t[a]?o=a:n=a+1}if(s=t[n],r=t[n-1],r===void 0)return this._cachedIndex=0,this.copySampleValue_(0);if(s===void 0)return n=t.length,this._cachedIndex=n,this.copySampleValue_(n-1)}this._cachedIndex=n,this.intervalChanged_(n,r,s)}return this.interpolate_(n,r,e,s)}getSettings_(){return this.settings||this.DefaultSettings_}copySampleValue_(e){let t=this.resultBuffer,n=this.sampleValues,s=this.valueSize,r=e*s;for(let o=0;o!==s;++o)t[o]=n[r+o];return t}interpolate_(){throw new Error("THREE.Interpolant: Call to abstract method.")}intervalChanged_(){}},Fc=class extends Gs{constructor(e,t,n,s){super(e,t,n,s),this._weightPrev=-0,this._offsetPrev=-0,this._weightNext=-0,this._offsetNext=-0,this.DefaultSettings_={endingStart:zd,endingEnd:zd}}intervalChanged_(e,t,n){let s=this.parameterPositions,r=e-2,o=e+1,a=s[r],c=s[o];if(a===void 0)switch(this.getSettings_().endingStart){case Vd:r=e,a=2*t-n;break;case Gd:r=s.length-2,a=t+s[r]-s[r+1];break;default:r=e,a=n}if(c===void 0)switch(this.getSettings_().endingEnd){case Vd:o=e,c=2*n-t;break;case Gd:o=1,c=n+s[1]-s[0];break;default:o=e-1,c=t}let l=(n-t)*.5,u=this.valueSize;this._weightPrev=l/(t-a),this._weightNext=l/(c-n),this._offsetPrev=r*u,this._offsetNext=o*u}interpolate_(e,t,n,s){let r=this.resultBuffer,o=this.sampleValues,a=this.valueSize,c=e*a,l=c-a,u=this._offsetPrev,h=this._offsetNext,d=this._weightPrev,f=this._weightNext,g=(n-t)/(s-t),y=g*g,m=y*g,p=-d*m+2*d*y-d*g,v=(1+d)*m+(-1.5-2*d)*y+(-.5+d)*g+1,T=(-1-f)*m+(1.5+f)*y+.5*g,S=f*m-f*y;for(let C=0;C!==a;++C)r[C]=p*o[u+C]+v*o[l+C]+T*o[c+C]+S*o[h+C];return r}},Oc=class extends Gs{constructor(e,t,n,s){super(e,t,n,s)}interpolate_(e,t,n,s){let r=this.resultBuffer,o=this.sampleValues,a=this.valueSize,c=e*a,l=c-a,u=(n-t)/(s-t),h=1-u;for(let d=0;d!==a;++d)r[d]=o[l+d]*h+o[c+d]*u;return r}},Bc=class extends Gs{constructor(e,t,n,s){super(e,t,n,s)}interpolate_(e){return this.copySampleValue_(e-1)}},kc=class extends Gs{interpolate_(e,t,n,s){let r=this.resultBuffer,o=this.sampleValues,a=this.valueSize,c=e*a,l=c-a,u=this.inTangents,h=this.outTangents;if(!u||!h){let g=(n-t)/(s-t),y=1-g;for(let m=0;m!==a;++m)r[m]=o[l+m]*y+o[c+m]*g;return r}let d=a*2,f=e-1;for(let g=0;g!==a;++g){let y=o[l+g],m=o[c+g],p=f*d+g*2,v=h[p],T=h[p+1],S=e*d+g*2,C=u[S],E=u[S+1],x=FS(n,t,v,C,s);r[g]=s_(x,y,T,E,m)}return r}};function s_(i,e,t,n,s){let r=1-i;return r*r*r*e+3*r*r*i*t+3*r*i*i*n+i*i*i*s}function US(i,e,t,n,s){let r=1-i;return 3*r*r*(t-e)+6*r*i*(n-t)+3*i*i*(s-n)}function FS(i,e,t,n,s){let r=(i-e)/(s-e);for(let o=0;o<8;o++){let a=s_(r,e,t,n,s)-i;if(Math.abs(a)<1e-10)break;let c=US(r,e,t,n,s);if(Math.abs(c)<1e-10)break;r=Math.max(0,Math.min(1,r-a/c))}return r}var fi=class{constructor(e,t,n,s){if(e===void 0)throw new Error("THREE.KeyframeTrack: track name is undefined");if(t===void 0||t.length===0)throw new Error("THREE.KeyframeTrack: no keyframes in track named "+e);this.name=e,this.times=io(t,this.TimeBufferType),this.values=io(n,this.ValueBufferType),this.setInterpolation(s||this.DefaultInterpolation)}static toJSON(e){let t=e.constructor,n;if(t.toJSON!==this.toJSON)n=t.toJSON(e);else{n={name:e.name,times:io(e.times,Array),values:io(e.values,Array)};let s=e.getInterpolation();s!==e.DefaultInterpolation&&(n.interpolation=s),ec(e.settings)&&(n.settings={inTangents:io(e.settings.inTangents,Array),outTangents:io(e.settings.outTangents,Array)})}return n.type=e.ValueTypeName,n}InterpolantFactoryMethodDiscrete(e){return new Bc(this.times,this.values,this.getValueSize(),e)}InterpolantFactoryMethodLinear(e){return new Oc(this.times,this.values,this.getValueSize(),e)}InterpolantFactoryMethodSmooth(e){return new Fc(this.times,this.values,this.getValueSize(),e)}InterpolantFactoryMethodBezier(e){let t=new kc(this.times,this.values,this.getValueSize(),e);return this.settings&&(t.inTangents=this.settings.inTangents,t.outTangents=this.settings.outTangents),t}setInterpolation(e){let t;switch(e){case aa:t=this.InterpolantFactoryMethodDiscrete;break;case mc:t=this.InterpolantFactoryMethodLinear;break;case sc:t=this.InterpolantFactoryMethodSmooth;break;case kd:t=this.InterpolantFactoryMethodBezier;break}if(t===void 0){let n="unsupported interpolation for "+this.ValueTypeName+" keyframe track named "+this.name;if(this.createInterpolant===void 0)if(e!==this.DefaultInterpolation)this.setInterpolation(this.DefaultInterpolation);else throw new Error(n);return Ye("KeyframeTrack:",n),this}return this.createInterpolant=t,this}getInterpolation(){switch(this.createInterpolant){case this.InterpolantFactoryMethodDiscrete:return aa;case this.InterpolantFactoryMethodLinear:return mc;case this.InterpolantFactoryMethodSmooth:return sc;case this.InterpolantFactoryMethodBezier:return kd}}getValueSize(){return this.values.length/this.times.length}shift(e){if(e!==0){let t=this.times;for(let n=0,s=t.length;n!==s;++n)t[n]+=e;ec(this.settings)&&(p0(this.settings.inTangents,e),p0(this.settings.outTangents,e))}return this}scale(e){if(e!==1){let t=this.times;for(let n=0,s=t.length;n!==s;++n)t[n]*=e;ec(this.settings)&&(m0(this.settings.inTangents,e),m0(this.settings.outTangents,e))}return this}trim(e,t){let n=this.times,s=n.length,r=0,o=s-1;for(;r!==s&&n[r]<e;)++r;for(;o!==-1&&n[o]>t;)--o;if(++o,r!==0||o!==s){r>=o&&(o=Math.max(o,1),r=o-1);let a=this.getValueSize();this.times=n.slice(r,o),this.values=this.values.slice(r*a,o*a)}return this}validate(){let e=!0,t=this.getValueSize();t-Math.floor(t)!==0&&(et("KeyframeTrack: Invalid value size in track.",this),e=!1);let n=this.times,s=this.values,r=n.length;r===0&&(et("KeyframeTrack: Track is empty.",this),e=!1);let o=null;for(let a=0;a!==r;a++){let c=n[a];if(typeof c=="number"&&isNaN(c)){et("KeyframeTrack: Time is not a valid number.",this,a,c),e=!1;break}if(o!==null&&o>c){et("KeyframeTrack: Out of order keys.",this,a,c,o),e=!1;break}o=c}if(s!==void 0&&Wv(s))for(let a=0,c=s.length;a!==c;++a){let l=s[a];if(isNaN(l)){et("KeyframeTrack: Value is not a valid number.",this,a,l),e=!1;break}}return e}optimize(){let e=this.times.slice(),t=this.values.slice(),n=this.getValueSize(),s=this.getInterpolation()===sc,r=e.length-1,o=1;for(let a=1;a<r;++a){let c=!1,l=e[a],u=e[a+1];if(l!==u&&(a!==1||l!==e[0]))if(s)c=!0;else{let h=a*n,d=h-n,f=h+n;for(let g=0;g!==n;++g){let y=t[h+g];if(y!==t[d+g]||y!==t[f+g]){c=!0;break}}}if(c){if(a!==o){e[o]=e[a];let h=a*n,d=o*n;for(let f=0;f!==n;++f)t[d+f]=t[h+f]}++o}}if(r>0){e[o]=e[r];for(let a=r*n,c=o*n,l=0;l!==n;++l)t[c+l]=t[a+l];++o}return o!==e.length?(this.times=e.slice(0,o),this.values=t.slice(0,o*n)):(this.times=e,this.values=t),this}clone(){let e=this.times.slice(),t=this.values.slice(),n=this.constructor,s=new n(this.name,e,t);return s.createInterpolant=this.createInterpolant,ec(this.settings)&&(s.settings={inTangents:this.settings.inTangents.slice(),outTangents:this.settings.outTangents.slice()}),s}};function p0(i,e){for(let t=0,n=i.length;t!==n;t+=2)i[t]+=e}function m0(i,e){for(let t=0,n=i.length;t!==n;t+=2)i[t]*=e}fi.prototype.ValueTypeName="";fi.prototype.TimeBufferType=Float32Array;fi.prototype.ValueBufferType=Float32Array;fi.prototype.DefaultInterpolation=mc;var Hs=class extends fi{constructor(e,t,n){super(e,t,n)}};Hs.prototype.ValueTypeName="bool";Hs.prototype.ValueBufferType=Array;Hs.prototype.DefaultInterpolation=aa;Hs.prototype.InterpolantFactoryMethodLinear=void 0;Hs.prototype.InterpolantFactoryMethodSmooth=void 0;var zc=class extends fi{constructor(e,t,n,s){super(e,t,n,s)}};zc.prototype.ValueTypeName="color";var Vc=class extends fi{constructor(e,t,n,s){super(e,t,n,s)}};Vc.prototype.ValueTypeName="number";var Gc=class extends Gs{constructor(e,t,n,s){super(e,t,n,s)}interpolate_(e,t,n,s){let r=this.resultBuffer,o=this.sampleValues,a=this.valueSize,c=(n-t)/(s-t),l=e*a;for(let u=l+a;l!==u;l+=4)Zi.slerpFlat(r,0,o,l-a,o,l,c);return r}},Ra=class extends fi{constructor(e,t,n,s){super(e,t,n,s)}InterpolantFactoryMethodLinear(e){return new Gc(this.times,this.values,this.getValueSize(),e)}};Ra.prototype.ValueTypeName="quaternion";Ra.prototype.InterpolantFactoryMethodSmooth=void 0;var Ws=class extends fi{constructor(e,t,n){super(e,t,n)}};Ws.prototype.ValueTypeName="string";Ws.prototype.ValueBufferType=Array;Ws.prototype.DefaultInterpolation=aa;Ws.prototype.InterpolantFactoryMethodLinear=void 0;Ws.prototype.InterpolantFactoryMethodSmooth=void 0;var Hc=class extends fi{constructor(e,t,n,s){super(e,t,n,s)}};Hc.prototype.ValueTypeName="vector";var Wc=class{constructor(e,t,n){let s=this,r=!1,o=0,a=0,c,l=[];this.onStart=void 0,this.onLoad=e,this.onProgress=t,this.onError=n,this._abortController=null,this.itemStart=function(u){a++,r===!1&&s.onStart!==void 0&&s.onStart(u,o,a),r=!0},this.itemEnd=function(u){o++,s.onProgress!==void 0&&s.onProgress(u,o,a),o===a&&(r=!1,s.onLoad!==void 0&&s.onLoad())},this.itemError=function(u){s.onError!==void 0&&s.onError(u)},this.resolveURL=function(u){return u=u.normalize("NFC"),c?c(u):u},this.setURLModifier=function(u){return c=u,this},this.addHandler=function(u,h){return l.push(u,h),this},this.removeHandler=function(u){let h=l.indexOf(u);return h!==-1&&l.splice(h,2),this},this.getHandler=function(u){for(let h=0,d=l.length;h<d;h+=2){let f=l[h],g=l[h+1];if(f.global&&(f.lastIndex=0),f.test(u))return g}return null},this.abort=function(){return this.abortController.abort(),this._abortController=null,this}}get abortController(){return this._abortController||(this._abortController=new AbortController),this._abortController}},r_=new Wc,Xc=class{constructor(e){this.manager=e!==void 0?e:r_,this.crossOrigin="anonymous",this.withCredentials=!1,this.path="",this.resourcePath="",this.requestHeader={},this.priority="auto",this.cache="default",typeof __THREE_DEVTOOLS__<"u"&&__THREE_DEVTOOLS__.dispatchEvent(new CustomEvent("observe",{detail:this}))}load(){}loadAsync(e,t){let n=this;return new Promise(function(s,r){n.load(e,s,t,r)})}parse(){}setCrossOrigin(e){return this.crossOrigin=e,this}setWithCredentials(e){return this.withCredentials=e,this}setPath(e){return this.path=e,this}setResourcePath(e){return this.resourcePath=e,this}setRequestHeader(e){return this.requestHeader=e,this}setPriority(e){return this.priority=e,this}setCache(e){return this.cache=e,this}abort(){return this}};Xc.DEFAULT_MATERIAL_NAME="__DEFAULT";var Pa=class extends In{static registerNode(e){this.prototype._lightNode=e}constructor(e,t=1){super(),this.isLight=!0,this.type="Light",this.color=new je(e),this.intensity=t}copy(e,t){return super.copy(e,t),this.color.copy(e.color),this.intensity=e.intensity,this}toJSON(e){let t=super.toJSON(e);return t.object.color=this.color.getHex(),t.object.intensity=this.intensity,t}},Ia=class extends Pa{constructor(e,t,n){super(e,n),this.isHemisphereLight=!0,this.type="HemisphereLight",this.position.copy(In.DEFAULT_UP),this.updateMatrix(),this.groundColor=new je(t)}copy(e,t){return super.copy(e,t),this.groundColor.copy(e.groundColor),this}toJSON(e){let t=super.toJSON(e);return t.object.groundColor=this.groundColor.getHex(),t}},Od=new Dt,g0=new U,_0=new U,qc=class{constructor(e){this.camera=e,this.intensity=1,this.bias=0,this.biasNode=null,this.normalBias=0,this.radius=1,this.blurSamples=8,this.mapSize=new He(512,512),this.mapType=jn,this.map=null,this.mapPass=null,this.matrix=new Dt,this.autoUpdate=!0,this.needsUpdate=!1,this._frustum=new zs,this._frameExtents=new He(1,1),this._viewportCount=1,this._viewports=[new Et(0,0,1,1)]}getViewportCount(){return this._viewportCount}getCamera(){return this.camera}getFrustum(){return this._frustum}updateMatrices(e){let t=this.camera;g0.setFromMatrixPosition(e.matrixWorld),t.position.copy(g0),_0.setFromMatrixPosition(e.target.matrixWorld),t.lookAt(_0),t.updateMatrixWorld(),this._updateMatrix(t,this.matrix,this._frustum)}_updateMatrix(e,t,n,s){Od.multiplyMatrices(e.projectionMatrix,e.matrixWorldInverse),n.setFromProjectionMatrix(Od,e.coordinateSystem,e.reversedDepth);let r=this._frameExtents,o=s?s.z/r.x:1,a=s?s.w/r.y:1,c=s?s.x/r.x:0,l=s?s.y/r.y:0;e.coordinateSystem===uo||e.reversedDepth?t.set(.5*o,0,0,.5*o+c,0,.5*a,0,.5*a+l,0,0,1,0,0,0,0,1):t.set(.5*o,0,0,.5*o+c,0,.5*a,0,.5*a+l,0,0,.5,.5,0,0,0,1),t.multiply(Od)}getViewport(e){return this._viewports[e]}getFrameExtents(){return this._frameExtents}dispose(){this.map&&this.map.dispose(),this.mapPass&&this.mapPass.dispose()}copy(e){return this.camera=e.camera.clone(),this.intensity=e.intensity,this.bias=e.bias,this.radius=e.radius,this.autoUpdate=e.autoUpdate,this.needsUpdate=e.needsUpdate,this.normalBias=e.normalBias,this.blurSamples=e.blurSamples,this.mapSize.copy(e.mapSize),this.mapType=e.mapType,this.biasNode=e.biasNode,this}clone(){return new this.constructor().copy(this)}toJSON(){let e={};return e.intensity=this.intensity,e.bias=this.bias,e.normalBias=this.normalBias,e.radius=this.radius,e.blurSamples=this.blurSamples,e.mapSize=this.mapSize.toArray(),e.mapType=this.mapType,e.camera=this.camera.toJSON(!1).object,delete e.camera.matrix,e}},tc=new U,nc=new Zi,qi=new U,La=class extends In{constructor(){super(),this.isCamera=!0,this.type="Camera",this.matrixWorldInverse=new Dt,this.projectionMatrix=new Dt,this.projectionMatrixInverse=new Dt,this.coordinateSystem=yi,this._reversedDepth=!1}get reversedDepth(){return this._reversedDepth}copy(e,t){return super.copy(e,t),this.matrixWorldInverse.copy(e.matrixWorldInverse),this.projectionMatrix.copy(e.projectionMatrix),this.projectionMatrixInverse.copy(e.projectionMatrixInverse),this.coordinateSystem=e.coordinateSystem,this}getWorldDirection(e){return super.getWorldDirection(e).negate()}updateMatrixWorld(e){super.updateMatrixWorld(e),this.matrixWorld.decompose(tc,nc,qi),qi.x===1&&qi.y===1&&qi.z===1?this.matrixWorldInverse.copy(this.matrixWorld).invert():this.matrixWorldInverse.compose(tc,nc,qi.set(1,1,1)).invert()}updateWorldMatrix(e,t,n=!1){super.updateWorldMatrix(e,t,n),this.matrixWorld.decompose(tc,nc,qi),qi.x===1&&qi.y===1&&qi.z===1?this.matrixWorldInverse.copy(this.matrixWorld).invert():this.matrixWorldInverse.compose(tc,nc,qi.set(1,1,1)).invert()}clone(){return new this.constructor().copy(this)}},ks=new U,x0=new He,y0=new He,Yn=class extends La{constructor(e=50,t=1,n=.1,s=2e3){super(),this.isPerspectiveCamera=!0,this.type="PerspectiveCamera",this.fov=e,this.zoom=1,this.near=n,this.far=s,this.focus=10,this.aspect=t,this.view=null,this.filmGauge=35,this.filmOffset=0,this.updateProjectionMatrix()}copy(e,t){return super.copy(e,t),this.fov=e.fov,this.zoom=e.zoom,this.near=e.near,this.far=e.far,this.focus=e.focus,this.aspect=e.aspect,this.view=e.view===null?null:Object.assign({},e.view),this.filmGauge=e.filmGauge,this.filmOffset=e.filmOffset,this}setFocalLength(e){let t=.5*this.getFilmHeight()/e;this.fov=po*2*Math.atan(t),this.updateProjectionMatrix()}getFocalLength(){let e=Math.tan(lo*.5*this.fov);return .5*this.getFilmHeight()/e}getEffectiveFOV(){return po*2*Math.atan(Math.tan(lo*.5*this.fov)/this.zoom)}getFilmWidth(){return this.filmGauge*Math.min(this.aspect,1)}getFilmHeight(){return this.filmGauge/Math.max(this.aspect,1)}getViewBounds(e,t,n){ks.set(-1,-1,.5).applyMatrix4(this.projectionMatrixInverse),t.set(ks.x,ks.y).multiplyScalar(-e/ks.z),ks.set(1,1,.5).applyMatrix4(this.projectionMatrixInverse),n.set(ks.x,ks.y).multiplyScalar(-e/ks.z)}getViewSize(e,t){return this.getViewBounds(e,x0,y0),t.subVectors(y0,x0)}setViewOffset(e,t,n,s,r,o){this.aspect=e/t,this.view===null&&(this.view={enabled:!0,fullWidth:1,fullHeight:1,offsetX:0,offsetY:0,width:1,height:1}),this.view.enabled=!0,this.view.fullWidth=e,this.view.fullHeight=t,this.view.offsetX=n,this.view.offsetY=s,this.view.width=r,this.view.height=o,this.updateProjectionMatrix()}clearViewOffset(){this.view!==null&&(this.view.enabled=!1),this.updateProjectionMatrix()}updateProjectionMatrix(){let e=this.near,t=e*Math.tan(lo*.5*this.fov)/this.zoom,n=2*t,s=this.aspect*n,r=-.5*s,o=this.view;if(this.view!==null&&this.view.enabled){let c=o.fullWidth,l=o.fullHeight;r+=o.offsetX*s/c,t-=o.offsetY*n/l,s*=o.width/c,n*=o.height/l}let a=this.filmOffset;a!==0&&(r+=e*a/this.getFilmWidth()),this.projectionMatrix.makePerspective(r,r+s,t,t-n,e,this.far,this.coordinateSystem,this.reversedDepth),this.projectionMatrixInverse.copy(this.projectionMatrix).invert()}toJSON(e){let t=super.toJSON(e);return t.object.fov=this.fov,t.object.zoom=this.zoom,t.object.near=this.near,t.object.far=this.far,t.object.focus=this.focus,t.object.aspect=this.aspect,this.view!==null&&(t.object.view=Object.assign({},this.view)),t.object.filmGauge=this.filmGauge,t.object.filmOffset=this.filmOffset,t}};var Da=class extends La{constructor(e=-1,t=1,n=1,s=-1,r=.1,o=2e3){super(),this.isOrthographicCamera=!0,this.type="OrthographicCamera",this.zoom=1,this.view=null,this.left=e,this.right=t,this.top=n,this.bottom=s,this.near=r,this.far=o,this.updateProjectionMatrix()}copy(e,t){return super.copy(e,t),this.left=e.left,this.right=e.right,this.top=e.top,this.bottom=e.bottom,this.near=e.near,this.far=e.far,this.zoom=e.zoom,this.view=e.view===null?null:Object.assign({},e.view),this}setViewOffset(e,t,n,s,r,o){this.view===null&&(this.view={enabled:!0,fullWidth:1,fullHeight:1,offsetX:0,offsetY:0,width:1,height:1}),this.view.enabled=!0,this.view.fullWidth=e,this.view.fullHeight=t,this.view.offsetX=n,this.view.offsetY=s,this.view.width=r,this.view.height=o,this.updateProjectionMatrix()}clearViewOffset(){this.view!==null&&(this.view.enabled=!1),this.updateProjectionMatrix()}updateProjectionMatrix(){let e=(this.right-this.left)/(2*this.zoom),t=(this.top-this.bottom)/(2*this.zoom),n=(this.right+this.left)/2,s=(this.top+this.bottom)/2,r=n-e,o=n+e,a=s+t,c=s-t;if(this.view!==null&&this.view.enabled){let l=(this.right-this.left)/this.view.fullWidth/this.zoom,u=(this.top-this.bottom)/this.view.fullHeight/this.zoom;r+=l*this.view.offsetX,o=r+l*this.view.width,a-=u*this.view.offsetY,c=a-u*this.view.height}this.projectionMatrix.makeOrthographic(r,o,a,c,this.near,this.far,this.coordinateSystem,this.reversedDepth),this.projectionMatrixInverse.copy(this.projectionMatrix).invert()}toJSON(e){let t=super.toJSON(e);return t.object.zoom=this.zoom,t.object.left=this.left,t.object.right=this.right,t.object.top=this.top,t.object.bottom=this.bottom,t.object.near=this.near,t.object.far=this.far,this.view!==null&&(t.object.view=Object.assign({},this.view)),t}},Hd=class extends qc{constructor(){super(new Da(-5,5,5,-5,.5,500)),this.isDirectionalLightShadow=!0}},Na=class extends Pa{constructor(e,t){super(e,t),this.isDirectionalLight=!0,this.type="DirectionalLight",this.position.copy(In.DEFAULT_UP),this.updateMatrix(),this.target=new In,this.shadow=new Hd}dispose(){super.dispose(),this.shadow.dispose()}copy(e){return super.copy(e),this.target=e.target.clone(),this.shadow=e.shadow.clone(),this}toJSON(e){let t=super.toJSON(e);return t.object.shadow=this.shadow.toJSON(),t.object.target=this.target.uuid,t}};var Ua=class extends Qt{constructor(){super(),this.isInstancedBufferGeometry=!0,this.type="InstancedBufferGeometry",this.instanceCount=1/0}copy(e){return super.copy(e),this.instanceCount=e.instanceCount,this}toJSON(){let e=super.toJSON();return e.instanceCount=this.instanceCount,e.isInstancedBufferGeometry=!0,e}};var so=-90,ro=1,vo=class extends In{constructor(e,t,n){super(),this.type="CubeCamera",this.renderTarget=n,this.coordinateSystem=null,this.activeMipmapLevel=0;let s=new Yn(so,ro,e,t);s.layers=this.layers,this.add(s);let r=new Yn(so,ro,e,t);r.layers=this.layers,this.add(r);let o=new Yn(so,ro,e,t);o.layers=this.layers,this.add(o);let a=new Yn(so,ro,e,t);a.layers=this.layers,this.add(a);let c=new Yn(so,ro,e,t);c.layers=this.layers,this.add(c);let l=new Yn(so,ro,e,t);l.layers=this.layers,this.add(l)}updateCoordinateSystem(){let e=this.coordinateSystem,t=this.children.concat(),[n,s,r,o,a,c]=t;for(let l of t)this.remove(l);if(e===yi)n.up.set(0,1,0),n.lookAt(1,0,0),s.up.set(0,1,0),s.lookAt(-1,0,0),r.up.set(0,0,-1),r.lookAt(0,1,0),o.up.set(0,0,1),o.lookAt(0,-1,0),a.up.set(0,1,0),a.lookAt(0,0,1),c.up.set(0,1,0),c.lookAt(0,0,-1);else if(e===uo)n.up.set(0,-1,0),n.lookAt(-1,0,0),s.up.set(0,-1,0),s.lookAt(1,0,0),r.up.set(0,0,1),r.lookAt(0,1,0),o.up.set(0,0,-1),o.lookAt(0,-1,0),a.up.set(0,-1,0),a.lookAt(0,0,1),c.up.set(0,-1,0),c.lookAt(0,0,-1);else throw new Error("THREE.CubeCamera.updateCoordinateSystem(): Invalid coordinate system: "+e);for(let l of t)this.add(l),l.updateMatrixWorld()}update(e,t){this.parent===null&&this.updateMatrixWorld();let{renderTarget:n,activeMipmapLevel:s}=this;this.coordinateSystem!==e.coordinateSystem&&(this.coordinateSystem=e.coordinateSystem,this.updateCoordinateSystem());let[r,o,a,c,l,u]=this.children,h=e.getRenderTarget(),d=e.getActiveCubeFace(),f=e.getActiveMipmapLevel(),g=e.xr.enabled;e.xr.enabled=!1;let y=n.texture.mipmapsAutoUpdate;n.texture.mipmapsAutoUpdate=!1;let m=!1;e.isWebGLRenderer===!0?m=e.state.buffers.depth.getReversed():m=e.reversedDepthBuffer,e.setRenderTarget(n,0,s),m&&e.autoClear===!1&&e.clearDepth(),e.render(t,r),e.setRenderTarget(n,1,s),m&&e.autoClear===!1&&e.clearDepth(),e.render(t,o),e.setRenderTarget(n,2,s),m&&e.autoClear===!1&&e.clearDepth(),e.render(t,a),e.setRenderTarget(n,3,s),m&&e.autoClear===!1&&e.clearDepth(),e.render(t,c),e.setRenderTarget(n,4,s),m&&e.autoClear===!1&&e.clearDepth(),e.render(t,l),n.texture.mipmapsAutoUpdate=y,e.setRenderTarget(n,5,s),m&&e.autoClear===!1&&e.clearDepth(),e.render(t,u),e.setRenderTarget(h,d,f),e.xr.enabled=g,n.texture.needsPMREMUpdate=!0}},Yc=class extends Yn{constructor(e=[]){super(),this.isArrayCamera=!0,this.isMultiViewCamera=!1,this.cameras=e,this.perCameraFrustumCulled=!1}};var Ef="\\[\\]\\.:\\/",OS=new RegExp("["+Ef+"]","g"),Tf="[^"+Ef+"]",BS="[^"+Ef.replace("\\.","")+"]",kS=/((?:WC+[\/:])*)/.source.replace("WC",Tf),zS=/(WCOD+)?/.source.replace("WCOD",BS),VS=/(?:\.(WC+)(?:\[(.+)\])?)?/.source.replace("WC",Tf),GS=/\.(WC+)(?:\[(.+)\])?/.source.replace("WC",Tf),HS=new RegExp("^"+kS+zS+VS+GS+"$"),WS=["material","materials","bones","map"],Wd=class{constructor(e,t,n){let s=n||Ht.parseTrackName(t);this._targetGroup=e,this._bindings=e.subscribe_(t,s)}getValue(e,t){this.bind();let n=this._targetGroup.nCachedObjects_,s=this._bindings[n];s!==void 0&&s.getValue(e,t)}setValue(e,t){let n=this._bindings;for(let s=this._targetGroup.nCachedObjects_,r=n.length;s!==r;++s)n[s].setValue(e,t)}bind(){let e=this._bindings;for(let t=this._targetGroup.nCachedObjects_,n=e.length;t!==n;++t)e[t].bind()}unbind(){let e=this._bindings;for(let t=this._targetGroup.nCachedObjects_,n=e.length;t!==n;++t)e[t].unbind()}},Ht=class i{constructor(e,t,n){this.path=t,this.parsedPath=n||i.parseTrackName(t),this.node=i.findNode(e,this.parsedPath.nodeName),this.rootNode=e,this.getValue=this._getValue_unbound,this.setValue=this._setValue_unbound}static create(e,t,n){return e&&e.isAnimationObjectGroup?new i.Composite(e,t,n):new i(e,t,n)}static sanitizeNodeName(e){return e.replace(/\s/g,"_").replace(OS,"")}static parseTrackName(e){let t=HS.exec(e);if(t===null)throw new Error("THREE.PropertyBinding: Cannot parse trackName: "+e);let n={nodeName:t[2],objectName:t[3],objectIndex:t[4],propertyName:t[5],propertyIndex:t[6]},s=n.nodeName&&n.nodeName.lastIndexOf(".");if(s!==void 0&&s!==-1){let r=n.nodeName.substring(s+1);WS.indexOf(r)!==-1&&(n.nodeName=n.nodeName.substring(0,s),n.objectName=r)}if(n.propertyName===null||n.propertyName.length===0)throw new Error("THREE.PropertyBinding: can not parse propertyName from trackName: "+e);return n}static findNode(e,t){if(t===void 0||t===""||t==="."||t===-1||t===e.name||t===e.uuid)return e;if(e.skeleton){let n=e.skeleton.getBoneByName(t);if(n!==void 0)return n}if(e.children){let n=function(r){for(let o=0;o<r.length;o++){let a=r[o];if(a.name===t||a.uuid===t)return a;let c=n(a.children);if(c)return c}return null},s=n(e.children);if(s)return s}return null}_getValue_unavailable(){}_setValue_unavailable(){}_getValue_direct(e,t){e[t]=this.targetObject[this.propertyName]}_getValue_array(e,t){let n=this.resolvedProperty;for(let s=0,r=n.length;s!==r;++s)e[t++]=n[s]}_getValue_arrayElement(e,t){e[t]=this.resolvedProperty[this.propertyIndex]}_getValue_toArray(e,t){this.resolvedProperty.toArray(e,t)}_setValue_direct(e,t){this.targetObject[this.propertyName]=e[t]}_setValue_direct_setNeedsUpdate(e,t){this.targetObject[this.propertyName]=e[t],this.targetObject.needsUpdate=!0}_setValue_direct_setMatrixWorldNeedsUpdate(e,t){this.targetObject[this.propertyName]=e[t],this.targetObject.matrixWorldNeedsUpdate=!0}_setValue_array(e,t){let n=this.resolvedProperty;for(let s=0,r=n.length;s!==r;++s)n[s]=e[t++]}_setValue_array_setNeedsUpdate(e,t){let n=this.resolvedProperty;for(let s=0,r=n.length;s!==r;++s)n[s]=e[t++];this.targetObject.needsUpdate=!0}_setValue_array_setMatrixWorldNeedsUpdate(e,t){let n=this.resolvedProperty;for(let s=0,r=n.length;s!==r;++s)n[s]=e[t++];this.targetObject.matrixWorldNeedsUpdate=!0}_setValue_arrayElement(e,t){this.resolvedProperty[this.propertyIndex]=e[t]}_setValue_arrayElement_setNeedsUpdate(e,t){this.resolvedProperty[this.propertyIndex]=e[t],this.targetObject.needsUpdate=!0}_setValue_arrayElement_setMatrixWorldNeedsUpdate(e,t){this.resolvedProperty[this.propertyIndex]=e[t],this.targetObject.matrixWorldNeedsUpdate=!0}_setValue_fromArray(e,t){this.resolvedProperty.fromArray(e,t)}_setValue_fromArray_setNeedsUpdate(e,t){this.resolvedProperty.fromArray(e,t),this.targetObject.needsUpdate=!0}_setValue_fromArray_setMatrixWorldNeedsUpdate(e,t){this.resolvedProperty.fromArray(e,t),this.targetObject.matrixWorldNeedsUpdate=!0}_getValue_unbound(e,t){this.bind(),this.getValue(e,t)}_setValue_unbound(e,t){this.bind(),this.setValue(e,t)}bind(){let e=this.node,t=this.parsedPath,n=t.objectName,s=t.propertyName,r=t.propertyIndex;if(e||(e=i.findNode(this.rootNode,t.nodeName),this.node=e),this.getValue=this._getValue_unavailable,this.setValue=this._setValue_unavailable,!e){Ye("PropertyBinding: No target node found for track: "+this.path+".");return}if(n){let l=t.objectIndex;switch(n){case"materials":if(!e.material){et("PropertyBinding: Can not bind to material as node does not have a material.",this);return}if(!e.material.materials){et("PropertyBinding: Can not bind to material.materials as node.material does not have a materials array.",this);return}e=e.material.materials;break;case"bones":if(!e.skeleton){et("PropertyBinding: Can not bind to bones as node does not have a skeleton.",this);return}e=e.skeleton.bones;for(let u=0;u<e.length;u++)if(e[u].name===l){l=u;break}break;case"map":if("map"in e){e=e.map;break}if(!e.material){et("PropertyBinding: Can not bind to material as node does not have a material.",this);return}if(!e.material.map){et("PropertyBinding: Can not bind to material.map as node.material does not have a map.",this);return}e=e.material.map;break;default:if(e[n]===void 0){et("PropertyBinding: Can not bind to objectName of node undefined.",this);return}e=e[n]}if(l!==void 0){if(e[l]===void 0){et("PropertyBinding: Trying to bind to objectIndex of objectName, but is undefined.",this,e);return}e=e[l]}}let o=e[s];if(o===void 0){let l=t.nodeName;et("PropertyBinding: Trying to update property for track: "+l+"."+s+" but it wasn't found.",e);return}let a=this.Versioning.None;this.targetObject=e,e.isMaterial===!0?a=this.Versioning.NeedsUpdate:e.isObject3D===!0&&(a=this.Versioning.MatrixWorldNeedsUpdate);let c=this.BindingType.Direct;if(r!==void 0){if(s==="morphTargetInfluences"){if(!e.geometry){et("PropertyBinding: Can not bind to morphTargetInfluences because node does not have a geometry.",this);return}if(!e.geometry.morphAttributes){et("PropertyBinding: Can not bind to morphTargetInfluences because node does not have a geometry.morphAttributes.",this);return}e.morphTargetDictionary[r]!==void 0&&(r=e.morphTargetDictionary[r])}c=this.BindingType.ArrayElement,this.resolvedProperty=o,this.propertyIndex=r}else o.fromArray!==void 0&&o.toArray!==void 0?(c=this.BindingType.HasFromToArray,this.resolvedProperty=o):Array.isArray(o)?(c=this.BindingType.EntireArray,this.resolvedProperty=o):this.propertyName=s;this.getValue=this.GetterByBindingType[c],this.setValue=this.SetterByBindingTypeAndVersioning[c][a]}unbind(){this.node=null,this.getValue=this._getValue_unbound,this.setValue=this._setValue_unbound}};Ht.Composite=Wd;Ht.prototype.BindingType={Direct:0,EntireArray:1,ArrayElement:2,HasFromToArray:3};Ht.prototype.Versioning={None:0,NeedsUpdate:1,MatrixWorldNeedsUpdate:2};Ht.prototype.GetterByBindingType=[Ht.prototype._getValue_direct,Ht.prototype._getValue_array,Ht.prototype._getValue_arrayElement,Ht.prototype._getValue_toArray];Ht.prototype.SetterByBindingTypeAndVersioning=[[Ht.prototype._setValue_direct,Ht.prototype._setValue_direct_setNeedsUpdate,Ht.prototype._setValue_direct_setMatrixWorldNeedsUpdate],[Ht.prototype._setValue_array,Ht.prototype._setValue_array_setNeedsUpdate,Ht.prototype._setValue_array_setMatrixWorldNeedsUpdate],[Ht.prototype._setValue_arrayElement,Ht.prototype._setValue_arrayElement_setNeedsUpdate,Ht.prototype._setValue_arrayElement_setMatrixWorldNeedsUpdate],[Ht.prototype._setValue_fromArray,Ht.prototype._setValue_fromArray_setNeedsUpdate,Ht.prototype._setValue_fromArray_setMatrixWorldNeedsUpdate]];var iT=new Float32Array(1);var Xs=class extends yc{constructor(e,t,n=1){super(e,t),this.isInstancedInterleavedBuffer=!0,this.meshPerAttribute=n}copy(e){return super.copy(e),this.meshPerAttribute=e.meshPerAttribute,this}clone(e){let t=super.clone(e);return t.meshPerAttribute=this.meshPerAttribute,t}toJSON(e){let t=super.toJSON(e);return t.isInstancedInterleavedBuffer=!0,t.meshPerAttribute=this.meshPerAttribute,t}};var Df=class Df{constructor(e,t,n,s){this.elements=[1,0,0,1],e!==void 0&&this.set(e,t,n,s)}identity(){return this.set(1,0,0,1),this}fromArray(e,t=0){for(let n=0;n<4;n++)this.elements[n]=e[n+t];return this}set(e,t,n,s){let r=this.elements;return r[0]=e,r[2]=t,r[1]=n,r[3]=s,this}};Df.prototype.isMatrix2=!0;var Xd=Df;var v0=new U,ic=new U,oo=new U,ao=new U,Bd=new U,XS=new U,qS=new U,Fa=class{constructor(e=new U,t=new U){this.start=e,this.end=t}set(e,t){return this.start.copy(e),this.end.copy(t),this}copy(e){return this.start.copy(e.start),this.end.copy(e.end),this}getCenter(e){return e.addVectors(this.start,this.end).multiplyScalar(.5)}delta(e){return e.subVectors(this.end,this.start)}distanceSq(){return this.start.distanceToSquared(this.end)}distance(){return this.start.distanceTo(this.end)}at(e,t){return this.delta(t).multiplyScalar(e).add(this.start)}closestPointToPointParameter(e,t){v0.subVectors(e,this.start),ic.subVectors(this.end,this.start);let n=ic.dot(ic);if(n===0)return 0;let r=ic.dot(v0)/n;return t&&(r=ot(r,0,1)),r}closestPointToPoint(e,t,n){let s=this.closestPointToPointParameter(e,t);return this.delta(n).multiplyScalar(s).add(this.start)}distanceSqToLine3(e,t=XS,n=qS){let s=10000000000000001e-32,r,o,a=this.start,c=e.start,l=this.end,u=e.end;oo.subVectors(l,a),ao.subVectors(u,c),Bd.subVectors(a,c);let h=oo.dot(oo),d=ao.dot(ao),f=ao.dot(Bd);if(h<=s&&d<=s)return t.copy(a),n.copy(c),t.distanceToSquared(n);if(h<=s)r=0,o=f/d,o=ot(o,0,1);else{let g=oo.dot(Bd);if(d<=s)o=0,r=ot(-g/h,0,1);else{let y=oo.dot(ao),m=h*d-y*y;m!==0?r=ot((y*f-g*d)/m,0,1):r=0,o=(y*r+f)/d,o<0?(o=0,r=ot(-g/h,0,1)):o>1&&(o=1,r=ot((y-g)/h,0,1))}}return t.copy(a).addScaledVector(oo,r),n.copy(c).addScaledVector(ao,o),t.distanceToSquared(n)}applyMatrix4(e){return this.start.applyMatrix4(e),this.end.applyMatrix4(e),this}equals(e){return e.start.equals(this.start)&&e.end.equals(this.end)}clone(){return new this.constructor().copy(this)}};var Oa=class extends _o{constructor(e=10,t=10,n=4473924,s=8947848){n=new je(n),s=new je(s);let r=t/2,o=e/t,a=e/2,c=[],l=[];for(let d=0,f=0,g=-a;d<=t;d++,g+=o){c.push(-a,0,g,a,0,g),c.push(g,0,-a,g,0,a);let y=d===r?n:s;y.toArray(l,f),f+=3,y.toArray(l,f),f+=3,y.toArray(l,f),f+=3,y.toArray(l,f),f+=3}let u=new Qt;u.setAttribute("position",new mt(c,3)),u.setAttribute("color",new mt(l,3));let h=new ur({vertexColors:!0,toneMapped:!1});super(u,h),this.type="GridHelper"}dispose(){super.dispose(),this.geometry.dispose(),this.material.dispose()}};function Cf(i,e,t,n){let s=YS(n);switch(t){case uf:return i*e;case ff:return i*e/s.components*s.byteLength;case nh:return i*e/s.components*s.byteLength;case Ys:return i*e*2/s.components*s.byteLength;case ih:return i*e*2/s.components*s.byteLength;case df:return i*e*3/s.components*s.byteLength;case Oi:return i*e*4/s.components*s.byteLength;case sh:return i*e*4/s.components*s.byteLength;case za:case Va:return Math.floor((i+3)/4)*Math.floor((e+3)/4)*8;case Ga:case Ha:return Math.floor((i+3)/4)*Math.floor((e+3)/4)*16;case oh:case lh:return Math.max(i,16)*Math.max(e,8)/4;case rh:case ah:return Math.max(i,8)*Math.max(e,8)/2;case ch:case hh:case dh:case fh:return Math.floor((i+3)/4)*Math.floor((e+3)/4)*8;case uh:case Wa:case ph:return Math.floor((i+3)/4)*Math.floor((e+3)/4)*16;case mh:return Math.floor((i+3)/4)*Math.floor((e+3)/4)*16;case gh:return Math.floor((i+4)/5)*Math.floor((e+3)/4)*16;case _h:return Math.floor((i+4)/5)*Math.floor((e+4)/5)*16;case xh:return Math.floor((i+5)/6)*Math.floor((e+4)/5)*16;case yh:return Math.floor((i+5)/6)*Math.floor((e+5)/6)*16;case vh:return Math.floor((i+7)/8)*Math.floor((e+4)/5)*16;case Sh:return Math.floor((i+7)/8)*Math.floor((e+5)/6)*16;case bh:return Math.floor((i+7)/8)*Math.floor((e+7)/8)*16;case Mh:return Math.floor((i+9)/10)*Math.floor((e+4)/5)*16;case wh:return Math.floor((i+9)/10)*Math.floor((e+5)/6)*16;case Ah:return Math.floor((i+9)/10)*Math.floor((e+7)/8)*16;case Eh:return Math.floor((i+9)/10)*Math.floor((e+9)/10)*16;case Th:return Math.floor((i+11)/12)*Math.floor((e+9)/10)*16;case Ch:return Math.floor((i+11)/12)*Math.floor((e+11)/12)*16;case Rh:case Ph:case Ih:return Math.ceil(i/4)*Math.ceil(e/4)*16;case Lh:case Dh:return Math.ceil(i/4)*Math.ceil(e/4)*8;case Xa:case Nh:return Math.ceil(i/4)*Math.ceil(e/4)*16}throw new Error(`Unable to determine texture byte length for ${t} format.`)}function YS(i){switch(i){case jn:case af:return{byteLength:1,components:1};case wo:case lf:case Fi:return{byteLength:2,components:1};case eh:case th:return{byteLength:2,components:4};case Ni:case Qc:case Ui:return{byteLength:4,components:1};case cf:case hf:return{byteLength:4,components:3}}throw new Error(`THREE.TextureUtils: Unknown texture type ${i}.`)}typeof __THREE_DEVTOOLS__<"u"&&__THREE_DEVTOOLS__.dispatchEvent(new CustomEvent("register",{detail:{revision:"187"}}));typeof window<"u"&&(window.__THREE__?Ye("WARNING: Multiple instances of Three.js being imported."):window.__THREE__="187");/**
 * @license
 * Copyright 2010-2026 Three.js Authors
 * SPDX-License-Identifier: MIT
 */function T_(){let i=null,e=!1,t=null,n=null;function s(r,o){n=i.requestAnimationFrame(s),t(r,o)}return{start:function(){e!==!0&&t!==null&&i!==null&&(n=i.requestAnimationFrame(s),e=!0)},stop:function(){i!==null&&i.cancelAnimationFrame(n),e=!1},setAnimationLoop:function(r){t=r},setContext:function(r){i=r}}}function ZS(i){let e=new WeakMap;function t(a,c){let l=a.array,u=a.usage,h=l.byteLength,d=i.createBuffer();i.bindBuffer(c,d),i.bufferData(c,l,u),a.onUploadCallback();let f;if(l instanceof Float32Array)f=i.FLOAT;else if(typeof Float16Array<"u"&&l instanceof Float16Array)f=i.HALF_FLOAT;else if(l instanceof Uint16Array)a.isFloat16BufferAttribute?f=i.HALF_FLOAT:f=i.UNSIGNED_SHORT;else if(l instanceof Int16Array)f=i.SHORT;else if(l instanceof Uint32Array)f=i.UNSIGNED_INT;else if(l instanceof Int32Array)f=i.INT;else if(l instanceof Int8Array)f=i.BYTE;else if(l instanceof Uint8Array)f=i.UNSIGNED_BYTE;else if(l instanceof Uint8ClampedArray)f=i.UNSIGNED_BYTE;else throw new Error("THREE.WebGLAttributes: Unsupported buffer data format: "+l);return{buffer:d,type:f,bytesPerElement:l.BYTES_PER_ELEMENT,version:a.version,size:h}}function n(a,c,l){let u=c.array,h=c.updateRanges;if(i.bindBuffer(l,a),h.length===0)i.bufferSubData(l,0,u);else{h.sort((f,g)=>f.start-g.start);let d=0;for(let f=1;f<h.length;f++){let g=h[d],y=h[f];y.start<=g.start+g.count+1?g.count=Math.max(g.count,y.start+y.count-g.start):(++d,h[d]=y)}h.length=d+1;for(let f=0,g=h.length;f<g;f++){let y=h[f];i.bufferSubData(l,y.start*u.BYTES_PER_ELEMENT,u,y.start,y.count)}c.clearUpdateRanges()}c.onUploadCallback()}function s(a){return a.isInterleavedBufferAttribute&&(a=a.data),e.get(a)}function r(a){a.isInterleavedBufferAttribute&&(a=a.data);let c=e.get(a);c&&(i.deleteBuffer(c.buffer),e.delete(a))}function o(a,c){if(a.isInterleavedBufferAttribute&&(a=a.data),a.isGLBufferAttribute){let u=e.get(a);(!u||u.version<a.version)&&e.set(a,{buffer:a.buffer,type:a.type,bytesPerElement:a.elementSize,version:a.version});return}let l=e.get(a);if(l===void 0)e.set(a,t(a,c));else if(l.version<a.version){if(l.size!==a.array.byteLength)throw new Error("THREE.WebGLAttributes: The size of the buffer attribute's array buffer does not match the original size. Resizing buffer attributes is not supported.");n(l.buffer,a,c),l.version=a.version}}return{get:s,remove:r,update:o}}var JS=`#ifdef USE_ALPHAHASH
	if ( diffuseColor.a < getAlphaHashThreshold( vPosition ) ) discard;
#endif`,KS=`#ifdef USE_ALPHAHASH
	const float ALPHA_HASH_SCALE = 0.05;
	float hash2D( vec2 value ) {
		return fract( 1.0e4 * sin( 17.0 * value.x + 0.1 * value.y ) * ( 0.1 + abs( sin( 13.0 * value.y + value.x ) ) ) );
	}
	float hash3D( vec3 value ) {
		return hash2D( vec2( hash2D( value.xy ), value.z ) );
	}
	float getAlphaHashThreshold( vec3 position ) {
		float maxDeriv = max(
			length( dFdx( position.xyz ) ),
			length( dFdy( position.xyz ) )
		);
		float pixScale = 1.0 / ( ALPHA_HASH_SCALE * maxDeriv );
		vec2 pixScales = vec2(
			exp2( floor( log2( pixScale ) ) ),
			exp2( ceil( log2( pixScale ) ) )
		);
		vec2 alpha = vec2(
			hash3D( floor( pixScales.x * position.xyz ) ),
			hash3D( floor( pixScales.y * position.xyz ) )
		);
		float lerpFactor = fract( log2( pixScale ) );
		float x = ( 1.0 - lerpFactor ) * alpha.x + lerpFactor * alpha.y;
		float a = min( lerpFactor, 1.0 - lerpFactor );
		vec3 cases = vec3(
			x * x / ( 2.0 * a * ( 1.0 - a ) ),
			( x - 0.5 * a ) / ( 1.0 - a ),
			1.0 - ( ( 1.0 - x ) * ( 1.0 - x ) / ( 2.0 * a * ( 1.0 - a ) ) )
		);
		float threshold = ( x < ( 1.0 - a ) )
			? ( ( x < a ) ? cases.x : cases.y )
			: cases.z;
		return clamp( threshold , 1.0e-6, 1.0 );
	}
#endif`,jS=`#ifdef USE_ALPHAMAP
	diffuseColor.a *= texture2D( alphaMap, vAlphaMapUv ).g;
#endif`,QS=`#ifdef USE_ALPHAMAP
	uniform sampler2D alphaMap;
#endif`,eb=`#ifdef USE_ALPHATEST
	#ifdef ALPHA_TO_COVERAGE
	diffuseColor.a = smoothstep( alphaTest, alphaTest + fwidth( diffuseColor.a ), diffuseColor.a );
	if ( diffuseColor.a == 0.0 ) discard;
	#else
	if ( diffuseColor.a < alphaTest ) discard;
	#endif
#endif`,tb=`#ifdef USE_ALPHATEST
	uniform float alphaTest;
#endif`,nb=`#ifdef USE_AOMAP
	float ambientOcclusion = ( texture2D( aoMap, vAoMapUv ).r - 1.0 ) * aoMapIntensity + 1.0;
	reflectedLight.indirectDiffuse *= ambientOcclusion;
	#if defined( USE_CLEARCOAT ) 
		clearcoatSpecularIndirect *= ambientOcclusion;
	#endif
	#if defined( USE_SHEEN ) 
		sheenSpecularIndirect *= ambientOcclusion;
	#endif
	#if defined( USE_ENVMAP ) && defined( STANDARD )
		float dotNV = saturate( dot( geometryNormal, geometryViewDir ) );
		reflectedLight.indirectSpecular *= computeSpecularOcclusion( dotNV, ambientOcclusion, material.roughness );
	#endif
#endif`,ib=`#ifdef USE_AOMAP
	uniform sampler2D aoMap;
	uniform float aoMapIntensity;
#endif`,sb=`#ifdef USE_BATCHING
	#if ! defined( GL_ANGLE_multi_draw )
	#define gl_DrawID _gl_DrawID
	uniform int _gl_DrawID;
	#endif
	uniform highp sampler2D batchingTexture;
	uniform highp usampler2D batchingIdTexture;
	mat4 getBatchingMatrix( const in float i ) {
		int size = textureSize( batchingTexture, 0 ).x;
		int j = int( i ) * 4;
		int x = j % size;
		int y = j / size;
		vec4 v1 = texelFetch( batchingTexture, ivec2( x, y ), 0 );
		vec4 v2 = texelFetch( batchingTexture, ivec2( x + 1, y ), 0 );
		vec4 v3 = texelFetch( batchingTexture, ivec2( x + 2, y ), 0 );
		vec4 v4 = texelFetch( batchingTexture, ivec2( x + 3, y ), 0 );
		return mat4( v1, v2, v3, v4 );
	}
	float getIndirectIndex( const in int i ) {
		int size = textureSize( batchingIdTexture, 0 ).x;
		int x = i % size;
		int y = i / size;
		return float( texelFetch( batchingIdTexture, ivec2( x, y ), 0 ).r );
	}
#endif
#ifdef USE_BATCHING_COLOR
	uniform sampler2D batchingColorTexture;
	vec4 getBatchingColor( const in float i ) {
		int size = textureSize( batchingColorTexture, 0 ).x;
		int j = int( i );
		int x = j % size;
		int y = j / size;
		return texelFetch( batchingColorTexture, ivec2( x, y ), 0 );
	}
#endif`,rb=`#ifdef USE_BATCHING
	mat4 batchingMatrix = getBatchingMatrix( getIndirectIndex( gl_DrawID ) );
#endif`,ob=`vec3 transformed = vec3( position );
#ifdef USE_ALPHAHASH
	vPosition = vec3( position );
#endif`,ab=`vec3 objectNormal = vec3( normal );
#ifdef USE_TANGENT
	vec3 objectTangent = vec3( tangent.xyz );
#endif`,lb=`float G_BlinnPhong_Implicit( ) {
	return 0.25;
}
float D_BlinnPhong( const in float shininess, const in float dotNH ) {
	return RECIPROCAL_PI * ( shininess * 0.5 + 1.0 ) * pow( dotNH, shininess );
}
vec3 BRDF_BlinnPhong( const in vec3 lightDir, const in vec3 viewDir, const in vec3 normal, const in vec3 specularColor, const in float shininess ) {
	vec3 halfDir = normalize( lightDir + viewDir );
	float dotNH = saturate( dot( normal, halfDir ) );
	float dotVH = saturate( dot( viewDir, halfDir ) );
	vec3 F = F_Schlick( specularColor, 1.0, dotVH );
	float G = G_BlinnPhong_Implicit( );
	float D = D_BlinnPhong( shininess, dotNH );
	return F * ( G * D );
} // validated`,cb=`#ifdef USE_IRIDESCENCE
	const mat3 XYZ_TO_REC709 = mat3(
		 3.2404542, -0.9692660,  0.0556434,
		-1.5371385,  1.8760108, -0.2040259,
		-0.4985314,  0.0415560,  1.0572252
	);
	vec3 Fresnel0ToIor( vec3 fresnel0 ) {
		vec3 sqrtF0 = sqrt( fresnel0 );
		return ( vec3( 1.0 ) + sqrtF0 ) / ( vec3( 1.0 ) - sqrtF0 );
	}
	vec3 IorToFresnel0( vec3 transmittedIor, float incidentIor ) {
		return pow2( ( transmittedIor - vec3( incidentIor ) ) / ( transmittedIor + vec3( incidentIor ) ) );
	}
	float IorToFresnel0( float transmittedIor, float incidentIor ) {
		return pow2( ( transmittedIor - incidentIor ) / ( transmittedIor + incidentIor ));
	}
	vec3 evalSensitivity( float OPD, vec3 shift ) {
		float phase = 2.0 * PI * OPD * 1.0e-9;
		vec3 val = vec3( 5.4856e-13, 4.4201e-13, 5.2481e-13 );
		vec3 pos = vec3( 1.6810e+06, 1.7953e+06, 2.2084e+06 );
		vec3 var = vec3( 4.3278e+09, 9.3046e+09, 6.6121e+09 );
		vec3 xyz = val * sqrt( 2.0 * PI * var ) * cos( pos * phase + shift ) * exp( - pow2( phase ) * var );
		xyz.x += 9.7470e-14 * sqrt( 2.0 * PI * 4.5282e+09 ) * cos( 2.2399e+06 * phase + shift[ 0 ] ) * exp( - 4.5282e+09 * pow2( phase ) );
		xyz /= 1.0685e-7;
		vec3 rgb = XYZ_TO_REC709 * xyz;
		return rgb;
	}
	vec3 evalIridescence( float outsideIOR, float eta2, float cosTheta1, float thinFilmThickness, vec3 baseF0 ) {
		vec3 I;
		float iridescenceIOR = mix( outsideIOR, eta2, smoothstep( 0.0, 0.03, thinFilmThickness ) );
		float sinTheta2Sq = pow2( outsideIOR / iridescenceIOR ) * ( 1.0 - pow2( cosTheta1 ) );
		float cosTheta2Sq = 1.0 - sinTheta2Sq;
		if ( cosTheta2Sq < 0.0 ) {
			return vec3( 1.0 );
		}
		float cosTheta2 = sqrt( cosTheta2Sq );
		float R0 = IorToFresnel0( iridescenceIOR, outsideIOR );
		float R12 = F_Schlick( R0, 1.0, cosTheta1 );
		float T121 = 1.0 - R12;
		float phi12 = 0.0;
		if ( iridescenceIOR < outsideIOR ) phi12 = PI;
		float phi21 = PI - phi12;
		vec3 baseIOR = Fresnel0ToIor( clamp( baseF0, 0.0, 0.9999 ) );		vec3 R1 = IorToFresnel0( baseIOR, iridescenceIOR );
		vec3 R23 = F_Schlick( R1, 1.0, cosTheta2 );
		vec3 phi23 = vec3( 0.0 );
		if ( baseIOR[ 0 ] < iridescenceIOR ) phi23[ 0 ] = PI;
		if ( baseIOR[ 1 ] < iridescenceIOR ) phi23[ 1 ] = PI;
		if ( baseIOR[ 2 ] < iridescenceIOR ) phi23[ 2 ] = PI;
		float OPD = 2.0 * iridescenceIOR * thinFilmThickness * cosTheta2;
		vec3 phi = vec3( phi21 ) + phi23;
		vec3 R123 = clamp( R12 * R23, 1e-5, 0.9999 );
		vec3 r123 = sqrt( R123 );
		vec3 Rs = pow2( T121 ) * R23 / ( vec3( 1.0 ) - R123 );
		vec3 C0 = R12 + Rs;
		I = C0;
		vec3 Cm = Rs - T121;
		for ( int m = 1; m <= 2; ++ m ) {
			Cm *= r123;
			vec3 Sm = 2.0 * evalSensitivity( float( m ) * OPD, float( m ) * phi );
			I += Cm * Sm;
		}
		return max( I, vec3( 0.0 ) );
	}
#endif`,hb=`#ifdef USE_BUMPMAP
	uniform sampler2D bumpMap;
	uniform float bumpScale;
	vec2 dHdxy_fwd() {
		vec2 dSTdx = dFdx( vBumpMapUv );
		vec2 dSTdy = dFdy( vBumpMapUv );
		float Hll = bumpScale * texture2D( bumpMap, vBumpMapUv ).x;
		float dBx = bumpScale * texture2D( bumpMap, vBumpMapUv + dSTdx ).x - Hll;
		float dBy = bumpScale * texture2D( bumpMap, vBumpMapUv + dSTdy ).x - Hll;
		return vec2( dBx, dBy );
	}
	vec3 perturbNormalArb( vec3 surf_pos, vec3 surf_norm, vec2 dHdxy, float faceDirection ) {
		vec3 vSigmaX = normalize( dFdx( surf_pos.xyz ) );
		vec3 vSigmaY = normalize( dFdy( surf_pos.xyz ) );
		vec3 vN = surf_norm;
		vec3 R1 = cross( vSigmaY, vN );
		vec3 R2 = cross( vN, vSigmaX );
		float fDet = dot( vSigmaX, R1 ) * faceDirection;
		vec3 vGrad = sign( fDet ) * ( dHdxy.x * R1 + dHdxy.y * R2 );
		return normalize( abs( fDet ) * surf_norm - vGrad );
	}
#endif`,ub=`#if NUM_CLIPPING_PLANES > 0
	vec4 plane;
	#ifdef ALPHA_TO_COVERAGE
		float distanceToPlane, distanceGradient;
		float clipOpacity = 1.0;
		#pragma unroll_loop_start
		for ( int i = 0; i < UNION_CLIPPING_PLANES; i ++ ) {
			plane = clippingPlanes[ i ];
			distanceToPlane = - dot( vClipPosition, plane.xyz ) + plane.w;
			distanceGradient = fwidth( distanceToPlane ) / 2.0;
			clipOpacity *= smoothstep( - distanceGradient, distanceGradient, distanceToPlane );
			if ( clipOpacity == 0.0 ) discard;
		}
		#pragma unroll_loop_end
		#if UNION_CLIPPING_PLANES < NUM_CLIPPING_PLANES
			float unionClipOpacity = 1.0;
			#pragma unroll_loop_start
			for ( int i = UNION_CLIPPING_PLANES; i < NUM_CLIPPING_PLANES; i ++ ) {
				plane = clippingPlanes[ i ];
				distanceToPlane = - dot( vClipPosition, plane.xyz ) + plane.w;
				distanceGradient = fwidth( distanceToPlane ) / 2.0;
				unionClipOpacity *= 1.0 - smoothstep( - distanceGradient, distanceGradient, distanceToPlane );
			}
			#pragma unroll_loop_end
			clipOpacity *= 1.0 - unionClipOpacity;
		#endif
		diffuseColor.a *= clipOpacity;
		if ( diffuseColor.a == 0.0 ) discard;
	#else
		#pragma unroll_loop_start
		for ( int i = 0; i < UNION_CLIPPING_PLANES; i ++ ) {
			plane = clippingPlanes[ i ];
			if ( dot( vClipPosition, plane.xyz ) > plane.w ) discard;
		}
		#pragma unroll_loop_end
		#if UNION_CLIPPING_PLANES < NUM_CLIPPING_PLANES
			bool clipped = true;
			#pragma unroll_loop_start
			for ( int i = UNION_CLIPPING_PLANES; i < NUM_CLIPPING_PLANES; i ++ ) {
				plane = clippingPlanes[ i ];
				clipped = ( dot( vClipPosition, plane.xyz ) > plane.w ) && clipped;
			}
			#pragma unroll_loop_end
			if ( clipped ) discard;
		#endif
	#endif
#endif`,db=`#if NUM_CLIPPING_PLANES > 0
	varying vec3 vClipPosition;
	uniform vec4 clippingPlanes[ NUM_CLIPPING_PLANES ];
#endif`,fb=`#if NUM_CLIPPING_PLANES > 0
	varying vec3 vClipPosition;
#endif`,pb=`#if NUM_CLIPPING_PLANES > 0
	vClipPosition = - mvPosition.xyz;
#endif`,mb=`#if defined( USE_COLOR ) || defined( USE_COLOR_ALPHA )
	diffuseColor *= vColor;
#endif`,gb=`#if defined( USE_COLOR ) || defined( USE_COLOR_ALPHA )
	varying vec4 vColor;
#endif`,_b=`#if defined( USE_COLOR ) || defined( USE_COLOR_ALPHA ) || defined( USE_INSTANCING_COLOR ) || defined( USE_BATCHING_COLOR )
	varying vec4 vColor;
#endif`,xb=`#if defined( USE_COLOR ) || defined( USE_COLOR_ALPHA ) || defined( USE_INSTANCING_COLOR ) || defined( USE_BATCHING_COLOR )
	vColor = vec4( 1.0 );
#endif
#ifdef USE_COLOR_ALPHA
	vColor *= color;
#elif defined( USE_COLOR )
	vColor.rgb *= color;
#endif
#ifdef USE_INSTANCING_COLOR
	vColor.rgb *= instanceColor.rgb;
#endif
#ifdef USE_BATCHING_COLOR
	vColor *= getBatchingColor( getIndirectIndex( gl_DrawID ) );
#endif`,yb=`#define PI 3.141592653589793
#define PI2 6.283185307179586
#define PI_HALF 1.5707963267948966
#define RECIPROCAL_PI 0.3183098861837907
#define RECIPROCAL_PI2 0.15915494309189535
#define EPSILON 1e-6
#ifndef saturate
#define saturate( a ) clamp( a, 0.0, 1.0 )
#endif
#define whiteComplement( a ) ( 1.0 - saturate( a ) )
float pow2( const in float x ) { return x*x; }
vec3 pow2( const in vec3 x ) { return x*x; }
float pow3( const in float x ) { return x*x*x; }
float pow4( const in float x ) { float x2 = x*x; return x2*x2; }
float max3( const in vec3 v ) { return max( max( v.x, v.y ), v.z ); }
float average( const in vec3 v ) { return dot( v, vec3( 0.3333333 ) ); }
highp float rand( const in vec2 uv ) {
	const highp float a = 12.9898, b = 78.233, c = 43758.5453;
	highp float dt = dot( uv.xy, vec2( a,b ) ), sn = mod( dt, PI );
	return fract( sin( sn ) * c );
}
#ifdef HIGH_PRECISION
	float precisionSafeLength( vec3 v ) { return length( v ); }
#else
	float precisionSafeLength( vec3 v ) {
		float maxComponent = max3( abs( v ) );
		return length( v / maxComponent ) * maxComponent;
	}
#endif
struct IncidentLight {
	vec3 color;
	vec3 direction;
	bool visible;
};
struct ReflectedLight {
	vec3 directDiffuse;
	vec3 directSpecular;
	vec3 indirectDiffuse;
	vec3 indirectSpecular;
};
#ifdef USE_ALPHAHASH
	varying vec3 vPosition;
#endif
vec3 transformDirection( in vec3 dir, in mat4 matrix ) {
	return normalize( ( matrix * vec4( dir, 0.0 ) ).xyz );
}
#define inverseTransformDirection transformDirectionByInverseViewMatrix
vec3 transformNormalByInverseViewMatrix( in vec3 normal, in mat4 viewMatrix ) {
	return normalize( ( vec4( normal, 0.0 ) * viewMatrix ).xyz );
}
vec3 transformDirectionByInverseViewMatrix( in vec3 dir, in mat4 viewMatrix ) {
	return normalize( ( vec4( dir, 0.0 ) * viewMatrix ).xyz );
}
bool isPerspectiveMatrix( mat4 m ) {
	return m[ 2 ][ 3 ] == - 1.0;
}
vec2 equirectUv( in vec3 dir ) {
	float u = atan( dir.z, dir.x ) * RECIPROCAL_PI2 + 0.5;
	float v = asin( clamp( dir.y, - 1.0, 1.0 ) ) * RECIPROCAL_PI + 0.5;
	return vec2( u, v );
}
vec3 BRDF_Lambert( const in vec3 diffuseColor ) {
	return RECIPROCAL_PI * diffuseColor;
}
vec3 F_Schlick( const in vec3 f0, const in float f90, const in float dotVH ) {
	float fresnel = exp2( ( - 5.55473 * dotVH - 6.98316 ) * dotVH );
	return f0 * ( 1.0 - fresnel ) + ( f90 * fresnel );
}
float F_Schlick( const in float f0, const in float f90, const in float dotVH ) {
	float fresnel = exp2( ( - 5.55473 * dotVH - 6.98316 ) * dotVH );
	return f0 * ( 1.0 - fresnel ) + ( f90 * fresnel );
} // validated`,vb=`vec3 transformedNormal = objectNormal;
#ifdef USE_TANGENT
	vec3 transformedTangent = objectTangent;
#endif
#ifdef USE_BATCHING
	mat3 bm = mat3( batchingMatrix );
	transformedNormal /= vec3( dot( bm[ 0 ], bm[ 0 ] ), dot( bm[ 1 ], bm[ 1 ] ), dot( bm[ 2 ], bm[ 2 ] ) );
	transformedNormal = bm * transformedNormal;
	#ifdef USE_TANGENT
		transformedTangent = bm * transformedTangent;
	#endif
#endif
#ifdef USE_INSTANCING
	mat3 im = mat3( instanceMatrix );
	transformedNormal /= vec3( dot( im[ 0 ], im[ 0 ] ), dot( im[ 1 ], im[ 1 ] ), dot( im[ 2 ], im[ 2 ] ) );
	transformedNormal = im * transformedNormal;
	#ifdef USE_TANGENT
		transformedTangent = im * transformedTangent;
	#endif
#endif
transformedNormal = normalMatrix * transformedNormal;
#ifdef FLIP_SIDED
	transformedNormal = - transformedNormal;
#endif
#ifdef USE_TANGENT
	transformedTangent = ( modelViewMatrix * vec4( transformedTangent, 0.0 ) ).xyz;
#endif`,Sb=`#ifdef USE_DISPLACEMENTMAP
	uniform sampler2D displacementMap;
	uniform float displacementScale;
	uniform float displacementBias;
#endif`,bb=`#ifdef USE_DISPLACEMENTMAP
	transformed += normalize( objectNormal ) * ( texture2D( displacementMap, vDisplacementMapUv ).x * displacementScale + displacementBias );
#endif`,Mb=`#ifdef USE_EMISSIVEMAP
	vec4 emissiveColor = texture2D( emissiveMap, vEmissiveMapUv );
	#ifdef DECODE_VIDEO_TEXTURE_EMISSIVE
		emissiveColor = sRGBTransferEOTF( emissiveColor );
	#endif
	totalEmissiveRadiance *= emissiveColor.rgb;
#endif`,wb=`#ifdef USE_EMISSIVEMAP
	uniform sampler2D emissiveMap;
#endif`,Ab="gl_FragColor = linearToOutputTexel( gl_FragColor );",Eb=`vec4 LinearTransferOETF( in vec4 value ) {
	return value;
}
vec4 sRGBTransferEOTF( in vec4 value ) {
	return vec4( mix( pow( value.rgb * 0.9478672986 + vec3( 0.0521327014 ), vec3( 2.4 ) ), value.rgb * 0.0773993808, vec3( lessThanEqual( value.rgb, vec3( 0.04045 ) ) ) ), value.a );
}
vec4 sRGBTransferOETF( in vec4 value ) {
	return vec4( mix( pow( value.rgb, vec3( 0.41666 ) ) * 1.055 - vec3( 0.055 ), value.rgb * 12.92, vec3( lessThanEqual( value.rgb, vec3( 0.0031308 ) ) ) ), value.a );
}`,Tb=`#ifdef USE_ENVMAP
	#ifdef ENV_WORLDPOS
		vec3 cameraToFrag;
		if ( isOrthographic ) {
			cameraToFrag = normalize( vec3( - viewMatrix[ 0 ][ 2 ], - viewMatrix[ 1 ][ 2 ], - viewMatrix[ 2 ][ 2 ] ) );
		} else {
			cameraToFrag = normalize( vWorldPosition - cameraPosition );
		}
		vec3 worldNormal = transformNormalByInverseViewMatrix( normal, viewMatrix );
		#ifdef ENVMAP_MODE_REFLECTION
			vec3 reflectVec = reflect( cameraToFrag, worldNormal );
		#else
			vec3 reflectVec = refract( cameraToFrag, worldNormal, refractionRatio );
		#endif
	#else
		vec3 reflectVec = vReflect;
	#endif
	#ifdef ENVMAP_TYPE_CUBE
		vec4 envColor = textureCube( envMap, envMapRotation * reflectVec );
		#ifdef ENVMAP_BLENDING_MULTIPLY
			outgoingLight = mix( outgoingLight, outgoingLight * envColor.xyz, specularStrength * reflectivity );
		#elif defined( ENVMAP_BLENDING_MIX )
			outgoingLight = mix( outgoingLight, envColor.xyz, specularStrength * reflectivity );
		#elif defined( ENVMAP_BLENDING_ADD )
			outgoingLight += envColor.xyz * specularStrength * reflectivity;
		#endif
	#endif
#endif`,Cb=`#ifdef USE_ENVMAP
	uniform float envMapIntensity;
	uniform mat3 envMapRotation;
	uniform samplerCube envMap;
	#ifdef ENVMAP_TYPE_PMREM
		float roughnessToMip( const in float roughness ) {
			float r = clamp( roughness, 0.0, 1.0 );
			return ENVMAP_MAX_LOD * r * ( 2.0 - r );
		}
	#endif
#endif`,Rb=`#ifdef USE_ENVMAP
	uniform float reflectivity;
	#if defined( USE_BUMPMAP ) || defined( USE_NORMALMAP ) || defined( PHONG ) || defined( LAMBERT )
		#define ENV_WORLDPOS
	#endif
	#ifdef ENV_WORLDPOS
		varying vec3 vWorldPosition;
		uniform float refractionRatio;
	#else
		varying vec3 vReflect;
	#endif
#endif`,Pb=`#ifdef USE_ENVMAP
	#if defined( USE_BUMPMAP ) || defined( USE_NORMALMAP ) || defined( PHONG ) || defined( LAMBERT )
		#define ENV_WORLDPOS
	#endif
	#ifdef ENV_WORLDPOS
		
		varying vec3 vWorldPosition;
	#else
		varying vec3 vReflect;
		uniform float refractionRatio;
	#endif
#endif`,Ib=`#ifdef USE_ENVMAP
	#ifdef ENV_WORLDPOS
		vWorldPosition = worldPosition.xyz;
	#else
		vec3 cameraToVertex;
		if ( isOrthographic ) {
			cameraToVertex = normalize( vec3( - viewMatrix[ 0 ][ 2 ], - viewMatrix[ 1 ][ 2 ], - viewMatrix[ 2 ][ 2 ] ) );
		} else {
			cameraToVertex = normalize( worldPosition.xyz - cameraPosition );
		}
		vec3 worldNormal = transformNormalByInverseViewMatrix( transformedNormal, viewMatrix );
		#ifdef ENVMAP_MODE_REFLECTION
			vReflect = reflect( cameraToVertex, worldNormal );
		#else
			vReflect = refract( cameraToVertex, worldNormal, refractionRatio );
		#endif
	#endif
#endif`,Lb=`#ifdef USE_FOG
	vFogDepth = - mvPosition.z;
#endif`,Db=`#ifdef USE_FOG
	varying float vFogDepth;
#endif`,Nb=`#ifdef USE_FOG
	#ifdef FOG_EXP2
		float fogFactor = 1.0 - exp( - fogDensity * fogDensity * vFogDepth * vFogDepth );
	#else
		float fogFactor = smoothstep( fogNear, fogFar, vFogDepth );
	#endif
	gl_FragColor.rgb = mix( gl_FragColor.rgb, fogColor, fogFactor );
#endif`,Ub=`#ifdef USE_FOG
	uniform vec3 fogColor;
	varying float vFogDepth;
	#ifdef FOG_EXP2
		uniform float fogDensity;
	#else
		uniform float fogNear;
		uniform float fogFar;
	#endif
#endif`,Fb=`#ifdef USE_GRADIENTMAP
	uniform sampler2D gradientMap;
#endif
vec3 getGradientIrradiance( vec3 normal, vec3 lightDirection ) {
	float dotNL = dot( normal, lightDirection );
	vec2 coord = vec2( dotNL * 0.5 + 0.5, 0.0 );
	#ifdef USE_GRADIENTMAP
		return vec3( texture2D( gradientMap, coord ).r );
	#else
		vec2 fw = fwidth( coord ) * 0.5;
		return mix( vec3( 0.7 ), vec3( 1.0 ), smoothstep( 0.7 - fw.x, 0.7 + fw.x, coord.x ) );
	#endif
}`,Ob=`#ifdef USE_LIGHTMAP
	uniform sampler2D lightMap;
	uniform float lightMapIntensity;
#endif`,Bb=`LambertMaterial material;
material.diffuseColor = diffuseColor.rgb;
material.specularStrength = specularStrength;`,kb=`varying vec3 vViewPosition;
struct LambertMaterial {
	vec3 diffuseColor;
	float specularStrength;
};
void RE_Direct_Lambert( const in IncidentLight directLight, const in vec3 geometryPosition, const in vec3 geometryNormal, const in vec3 geometryViewDir, const in vec3 geometryClearcoatNormal, const in LambertMaterial material, inout ReflectedLight reflectedLight ) {
	float dotNL = saturate( dot( geometryNormal, directLight.direction ) );
	vec3 irradiance = dotNL * directLight.color;
	reflectedLight.directDiffuse += irradiance * BRDF_Lambert( material.diffuseColor );
}
void RE_IndirectDiffuse_Lambert( const in vec3 irradiance, const in vec3 geometryPosition, const in vec3 geometryNormal, const in vec3 geometryViewDir, const in vec3 geometryClearcoatNormal, const in LambertMaterial material, inout ReflectedLight reflectedLight ) {
	reflectedLight.indirectDiffuse += irradiance * BRDF_Lambert( material.diffuseColor );
}
#define RE_Direct				RE_Direct_Lambert
#define RE_IndirectDiffuse		RE_IndirectDiffuse_Lambert`,zb=`uniform bool receiveShadow;
uniform vec3 ambientLightColor;
#if defined( USE_LIGHT_PROBES )
	uniform vec3 lightProbe[ 9 ];
#endif
vec3 shGetIrradianceAt( in vec3 normal, in vec3 shCoefficients[ 9 ] ) {
	float x = normal.x, y = normal.y, z = normal.z;
	vec3 result = shCoefficients[ 0 ] * 0.886227;
	result += shCoefficients[ 1 ] * 2.0 * 0.511664 * y;
	result += shCoefficients[ 2 ] * 2.0 * 0.511664 * z;
	result += shCoefficients[ 3 ] * 2.0 * 0.511664 * x;
	result += shCoefficients[ 4 ] * 2.0 * 0.429043 * x * y;
	result += shCoefficients[ 5 ] * 2.0 * 0.429043 * y * z;
	result += shCoefficients[ 6 ] * ( 0.743125 * z * z - 0.247708 );
	result += shCoefficients[ 7 ] * 2.0 * 0.429043 * x * z;
	result += shCoefficients[ 8 ] * 0.429043 * ( x * x - y * y );
	return result;
}
vec3 getLightProbeIrradiance( const in vec3 lightProbe[ 9 ], const in vec3 normal ) {
	vec3 worldNormal = transformNormalByInverseViewMatrix( normal, viewMatrix );
	vec3 irradiance = shGetIrradianceAt( worldNormal, lightProbe );
	return irradiance;
}
vec3 getAmbientLightIrradiance( const in vec3 ambientLightColor ) {
	vec3 irradiance = ambientLightColor;
	return irradiance;
}
float getDistanceAttenuation( const in float lightDistance, const in float cutoffDistance, const in float decayExponent ) {
	float distanceFalloff = 1.0 / max( pow( lightDistance, decayExponent ), 0.01 );
	if ( cutoffDistance > 0.0 ) {
		distanceFalloff *= pow2( saturate( 1.0 - pow4( lightDistance / cutoffDistance ) ) );
	}
	return distanceFalloff;
}
float getSpotAttenuation( const in float coneCosine, const in float penumbraCosine, const in float angleCosine ) {
	return smoothstep( coneCosine, penumbraCosine, angleCosine );
}
#if NUM_SUN_LIGHTS > 0
	struct SunLight {
		vec3 direction;
		vec3 color;
	};
	uniform SunLight sunLights[ NUM_SUN_LIGHTS ];
	void getSunLightInfo( const in SunLight sunLight, out IncidentLight light ) {
		light.color = sunLight.color;
		light.direction = sunLight.direction;
		light.visible = true;
	}
#endif
#if NUM_DIR_LIGHTS > 0
	struct DirectionalLight {
		vec3 direction;
		vec3 color;
	};
	uniform DirectionalLight directionalLights[ NUM_DIR_LIGHTS ];
	void getDirectionalLightInfo( const in DirectionalLight directionalLight, out IncidentLight light ) {
		light.color = directionalLight.color;
		light.direction = directionalLight.direction;
		light.visible = true;
	}
#endif
#if NUM_POINT_LIGHTS > 0
	struct PointLight {
		vec3 position;
		vec3 color;
		float distance;
		float decay;
	};
	uniform PointLight pointLights[ NUM_POINT_LIGHTS ];
	void getPointLightInfo( const in PointLight pointLight, const in vec3 geometryPosition, out IncidentLight light ) {
		vec3 lVector = pointLight.position - geometryPosition;
		light.direction = normalize( lVector );
		float lightDistance = length( lVector );
		light.color = pointLight.color;
		light.color *= getDistanceAttenuation( lightDistance, pointLight.distance, pointLight.decay );
		light.visible = ( light.color != vec3( 0.0 ) );
	}
#endif
#if NUM_SPOT_LIGHTS > 0
	struct SpotLight {
		vec3 position;
		vec3 direction;
		vec3 color;
		float distance;
		float decay;
		float coneCos;
		float penumbraCos;
	};
	uniform SpotLight spotLights[ NUM_SPOT_LIGHTS ];
	void getSpotLightInfo( const in SpotLight spotLight, const in vec3 geometryPosition, out IncidentLight light ) {
		vec3 lVector = spotLight.position - geometryPosition;
		light.direction = normalize( lVector );
		float angleCos = dot( light.direction, spotLight.direction );
		float spotAttenuation = getSpotAttenuation( spotLight.coneCos, spotLight.penumbraCos, angleCos );
		if ( spotAttenuation > 0.0 ) {
			float lightDistance = length( lVector );
			light.color = spotLight.color * spotAttenuation;
			light.color *= getDistanceAttenuation( lightDistance, spotLight.distance, spotLight.decay );
			light.visible = ( light.color != vec3( 0.0 ) );
		} else {
			light.color = vec3( 0.0 );
			light.visible = false;
		}
	}
#endif
#if NUM_RECT_AREA_LIGHTS > 0
	struct RectAreaLight {
		vec3 color;
		vec3 position;
		vec3 halfWidth;
		vec3 halfHeight;
	};
	uniform sampler2D ltc_1;	uniform sampler2D ltc_2;
	uniform RectAreaLight rectAreaLights[ NUM_RECT_AREA_LIGHTS ];
#endif
#if NUM_HEMI_LIGHTS > 0
	struct HemisphereLight {
		vec3 direction;
		vec3 skyColor;
		vec3 groundColor;
	};
	uniform HemisphereLight hemisphereLights[ NUM_HEMI_LIGHTS ];
	vec3 getHemisphereLightIrradiance( const in HemisphereLight hemiLight, const in vec3 normal ) {
		float dotNL = dot( normal, hemiLight.direction );
		float hemiDiffuseWeight = 0.5 * dotNL + 0.5;
		vec3 irradiance = mix( hemiLight.groundColor, hemiLight.skyColor, hemiDiffuseWeight );
		return irradiance;
	}
#endif
#include <lightprobes_pars_fragment>`,Vb=`#ifdef USE_ENVMAP
	vec3 getIBLIrradiance( const in vec3 normal ) {
		#ifdef ENVMAP_TYPE_PMREM
			vec3 worldNormal = transformNormalByInverseViewMatrix( normal, viewMatrix );
			vec4 envMapColor = textureLod( envMap, envMapRotation * worldNormal, ENVMAP_MAX_LOD );
			return PI * envMapColor.rgb * envMapIntensity;
		#else
			return vec3( 0.0 );
		#endif
	}
	vec3 getIBLRadiance( const in vec3 viewDir, const in vec3 normal, const in float roughness ) {
		#ifdef ENVMAP_TYPE_PMREM
			vec3 reflectVec = reflect( - viewDir, normal );
			reflectVec = normalize( mix( reflectVec, normal, pow4( roughness ) ) );
			reflectVec = transformDirectionByInverseViewMatrix( reflectVec, viewMatrix );
			vec4 envMapColor = textureLod( envMap, envMapRotation * reflectVec, roughnessToMip( roughness ) );
			return envMapColor.rgb * envMapIntensity;
		#else
			return vec3( 0.0 );
		#endif
	}
	#ifdef USE_RETROREFLECTION
		vec3 getIBLRetroRadiance( const in vec3 viewDir, const in vec3 normal, const in float roughness ) {
			#ifdef ENVMAP_TYPE_PMREM
				vec3 retroVec = normalize( mix( viewDir, normal, pow4( roughness ) ) );
				retroVec = transformDirectionByInverseViewMatrix( retroVec, viewMatrix );
				vec4 envMapColor = textureLod( envMap, envMapRotation * retroVec, roughnessToMip( roughness ) );
				return envMapColor.rgb * envMapIntensity;
			#else
				return vec3( 0.0 );
			#endif
		}
	#endif
	#ifdef USE_ANISOTROPY
		vec3 getIBLAnisotropyRadiance( const in vec3 viewDir, const in vec3 normal, const in float roughness, const in vec3 bitangent, const in float anisotropy ) {
			#ifdef ENVMAP_TYPE_PMREM
				vec3 bentNormal = cross( bitangent, viewDir );
				bentNormal = normalize( cross( bentNormal, bitangent ) );
				bentNormal = normalize( mix( bentNormal, normal, pow2( pow2( 1.0 - anisotropy * ( 1.0 - roughness ) ) ) ) );
				return getIBLRadiance( viewDir, bentNormal, roughness );
			#else
				return vec3( 0.0 );
			#endif
		}
		#ifdef USE_RETROREFLECTION
			vec3 getIBLAnisotropyRetroRadiance( const in vec3 viewDir, const in vec3 normal, const in float roughness, const in vec3 bitangent, const in float anisotropy ) {
				#ifdef ENVMAP_TYPE_PMREM
					vec3 bentNormal = cross( bitangent, viewDir );
					bentNormal = normalize( cross( bentNormal, bitangent ) );
					bentNormal = normalize( mix( bentNormal, normal, pow2( pow2( 1.0 - anisotropy * ( 1.0 - roughness ) ) ) ) );
					return getIBLRetroRadiance( viewDir, bentNormal, roughness );
				#else
					return vec3( 0.0 );
				#endif
			}
		#endif
	#endif
#endif`,Gb=`ToonMaterial material;
material.diffuseColor = diffuseColor.rgb;`,Hb=`varying vec3 vViewPosition;
struct ToonMaterial {
	vec3 diffuseColor;
};
void RE_Direct_Toon( const in IncidentLight directLight, const in vec3 geometryPosition, const in vec3 geometryNormal, const in vec3 geometryViewDir, const in vec3 geometryClearcoatNormal, const in ToonMaterial material, inout ReflectedLight reflectedLight ) {
	vec3 irradiance = getGradientIrradiance( geometryNormal, directLight.direction ) * directLight.color;
	reflectedLight.directDiffuse += irradiance * BRDF_Lambert( material.diffuseColor );
}
void RE_IndirectDiffuse_Toon( const in vec3 irradiance, const in vec3 geometryPosition, const in vec3 geometryNormal, const in vec3 geometryViewDir, const in vec3 geometryClearcoatNormal, const in ToonMaterial material, inout ReflectedLight reflectedLight ) {
	reflectedLight.indirectDiffuse += irradiance * BRDF_Lambert( material.diffuseColor );
}
#define RE_Direct				RE_Direct_Toon
#define RE_IndirectDiffuse		RE_IndirectDiffuse_Toon`,Wb=`BlinnPhongMaterial material;
material.diffuseColor = diffuseColor.rgb;
material.specularColor = specular;
material.specularShininess = shininess;
material.specularStrength = specularStrength;`,Xb=`varying vec3 vViewPosition;
struct BlinnPhongMaterial {
	vec3 diffuseColor;
	vec3 specularColor;
	float specularShininess;
	float specularStrength;
};
void RE_Direct_BlinnPhong( const in IncidentLight directLight, const in vec3 geometryPosition, const in vec3 geometryNormal, const in vec3 geometryViewDir, const in vec3 geometryClearcoatNormal, const in BlinnPhongMaterial material, inout ReflectedLight reflectedLight ) {
	float dotNL = saturate( dot( geometryNormal, directLight.direction ) );
	vec3 irradiance = dotNL * directLight.color;
	reflectedLight.directDiffuse += irradiance * BRDF_Lambert( material.diffuseColor );
	reflectedLight.directSpecular += irradiance * BRDF_BlinnPhong( directLight.direction, geometryViewDir, geometryNormal, material.specularColor, material.specularShininess ) * material.specularStrength;
}
void RE_IndirectDiffuse_BlinnPhong( const in vec3 irradiance, const in vec3 geometryPosition, const in vec3 geometryNormal, const in vec3 geometryViewDir, const in vec3 geometryClearcoatNormal, const in BlinnPhongMaterial material, inout ReflectedLight reflectedLight ) {
	reflectedLight.indirectDiffuse += irradiance * BRDF_Lambert( material.diffuseColor );
}
#define RE_Direct				RE_Direct_BlinnPhong
#define RE_IndirectDiffuse		RE_IndirectDiffuse_BlinnPhong`,qb=`PhysicalMaterial material;
material.diffuseColor = diffuseColor.rgb;
material.diffuseContribution = diffuseColor.rgb * ( 1.0 - metalnessFactor );
material.metalness = metalnessFactor;
vec3 dxy = max( abs( dFdx( nonPerturbedNormal ) ), abs( dFdy( nonPerturbedNormal ) ) );
float geometryRoughness = max( max( dxy.x, dxy.y ), dxy.z );
material.roughness = max( roughnessFactor, 0.045 );
material.roughness += geometryRoughness;
material.roughness = min( material.roughness, 1.0 );
#ifdef USE_DIFFUSE_ROUGHNESS
	float diffuseRoughnessFactor = diffuseRoughness;
	#ifdef USE_DIFFUSE_ROUGHNESSMAP
		diffuseRoughnessFactor *= texture2D( diffuseRoughnessMap, vDiffuseRoughnessMapUv ).r;
	#endif
	material.diffuseRoughness = saturate( diffuseRoughnessFactor );
#endif
#ifdef IOR
	material.ior = ior;
	#ifdef USE_SPECULAR
		float specularIntensityFactor = specularIntensity;
		vec3 specularColorFactor = specularColor;
		#ifdef USE_SPECULAR_COLORMAP
			specularColorFactor *= texture2D( specularColorMap, vSpecularColorMapUv ).rgb;
		#endif
		#ifdef USE_SPECULAR_INTENSITYMAP
			specularIntensityFactor *= texture2D( specularIntensityMap, vSpecularIntensityMapUv ).a;
		#endif
		material.specularF90 = mix( specularIntensityFactor, 1.0, metalnessFactor );
	#else
		float specularIntensityFactor = 1.0;
		vec3 specularColorFactor = vec3( 1.0 );
		material.specularF90 = 1.0;
	#endif
	material.specularColor = min( pow2( ( material.ior - 1.0 ) / ( material.ior + 1.0 ) ) * specularColorFactor, vec3( 1.0 ) ) * specularIntensityFactor;
	material.specularColorBlended = mix( material.specularColor, diffuseColor.rgb, metalnessFactor );
#else
	material.specularColor = vec3( 0.04 );
	material.specularColorBlended = mix( material.specularColor, diffuseColor.rgb, metalnessFactor );
	material.specularF90 = 1.0;
#endif
#ifdef USE_CLEARCOAT
	material.clearcoat = clearcoat;
	material.clearcoatRoughness = clearcoatRoughness;
	material.clearcoatF0 = vec3( 0.04 );
	material.clearcoatF90 = 1.0;
	#ifdef USE_CLEARCOATMAP
		material.clearcoat *= texture2D( clearcoatMap, vClearcoatMapUv ).x;
	#endif
	#ifdef USE_CLEARCOAT_ROUGHNESSMAP
		material.clearcoatRoughness *= texture2D( clearcoatRoughnessMap, vClearcoatRoughnessMapUv ).y;
	#endif
	material.clearcoat = saturate( material.clearcoat );	material.clearcoatRoughness = max( material.clearcoatRoughness, 0.045 );
	material.clearcoatRoughness += geometryRoughness;
	material.clearcoatRoughness = min( material.clearcoatRoughness, 1.0 );
#endif
#ifdef USE_DISPERSION
	material.dispersion = dispersion;
#endif
#ifdef USE_RETROREFLECTION
	material.retroreflectivity = retroreflectivity;
#endif
#ifdef USE_IRIDESCENCE
	material.iridescence = iridescence;
	material.iridescenceIOR = iridescenceIOR;
	#ifdef USE_IRIDESCENCEMAP
		material.iridescence *= texture2D( iridescenceMap, vIridescenceMapUv ).r;
	#endif
	#ifdef USE_IRIDESCENCE_THICKNESSMAP
		material.iridescenceThickness = (iridescenceThicknessMaximum - iridescenceThicknessMinimum) * texture2D( iridescenceThicknessMap, vIridescenceThicknessMapUv ).g + iridescenceThicknessMinimum;
	#else
		material.iridescenceThickness = iridescenceThicknessMaximum;
	#endif
#endif
#ifdef USE_SHEEN
	material.sheenColor = sheenColor;
	#ifdef USE_SHEEN_COLORMAP
		material.sheenColor *= texture2D( sheenColorMap, vSheenColorMapUv ).rgb;
	#endif
	material.sheenRoughness = clamp( sheenRoughness, 0.0001, 1.0 );
	#ifdef USE_SHEEN_ROUGHNESSMAP
		material.sheenRoughness *= texture2D( sheenRoughnessMap, vSheenRoughnessMapUv ).a;
	#endif
#endif
#ifdef USE_ANISOTROPY
	#ifdef USE_ANISOTROPYMAP
		mat2 anisotropyMat = mat2( anisotropyVector.x, anisotropyVector.y, - anisotropyVector.y, anisotropyVector.x );
		vec3 anisotropyPolar = texture2D( anisotropyMap, vAnisotropyMapUv ).rgb;
		vec2 anisotropyV = anisotropyMat * normalize( 2.0 * anisotropyPolar.rg - vec2( 1.0 ) ) * anisotropyPolar.b;
	#else
		vec2 anisotropyV = anisotropyVector;
	#endif
	material.anisotropy = length( anisotropyV );
	if( material.anisotropy == 0.0 ) {
		anisotropyV = vec2( 1.0, 0.0 );
	} else {
		anisotropyV /= material.anisotropy;
		material.anisotropy = saturate( material.anisotropy );
	}
	material.alphaT = mix( pow2( material.roughness ), 1.0, pow2( material.anisotropy ) );
	material.anisotropyT = tbn[ 0 ] * anisotropyV.x + tbn[ 1 ] * anisotropyV.y;
	material.anisotropyB = tbn[ 1 ] * anisotropyV.x - tbn[ 0 ] * anisotropyV.y;
#endif`,Yb=`uniform sampler2D dfgLUT;
struct PhysicalMaterial {
	vec3 diffuseColor;
	vec3 diffuseContribution;
	vec3 specularColor;
	vec3 specularColorBlended;
	float roughness;
	float metalness;
	float specularF90;
	float dispersion;
	vec2 dfg;
	vec3 multiScatteringCompensation;
	#ifdef USE_DIFFUSE_ROUGHNESS
		float diffuseRoughness;
	#endif
	#ifdef USE_RETROREFLECTION
		float retroreflectivity;
	#endif
	#ifdef USE_CLEARCOAT
		float clearcoat;
		float clearcoatRoughness;
		vec3 clearcoatF0;
		float clearcoatF90;
	#endif
	#ifdef USE_IRIDESCENCE
		float iridescence;
		float iridescenceIOR;
		float iridescenceThickness;
		vec3 iridescenceFresnel;
		vec3 iridescenceF0Dielectric;
		vec3 iridescenceF0Metallic;
	#endif
	#ifdef USE_SHEEN
		vec3 sheenColor;
		float sheenRoughness;
	#endif
	#ifdef IOR
		float ior;
	#endif
	#ifdef USE_TRANSMISSION
		float transmission;
		float transmissionAlpha;
		float thickness;
		float attenuationDistance;
		vec3 attenuationColor;
	#endif
	#ifdef USE_ANISOTROPY
		float anisotropy;
		float alphaT;
		vec3 anisotropyT;
		vec3 anisotropyB;
	#endif
};
vec3 clearcoatSpecularDirect = vec3( 0.0 );
vec3 clearcoatSpecularIndirect = vec3( 0.0 );
vec3 sheenSpecularDirect = vec3( 0.0 );
vec3 sheenSpecularIndirect = vec3(0.0 );
vec3 Schlick_to_F0( const in vec3 f, const in float f90, const in float dotVH ) {
    float x = clamp( 1.0 - dotVH, 0.0, 1.0 );
    float x2 = x * x;
    float x5 = clamp( x * x2 * x2, 0.0, 0.9999 );
    return ( f - vec3( f90 ) * x5 ) / ( 1.0 - x5 );
}
#ifdef USE_DIFFUSE_ROUGHNESS
	const float EON_EPSILON = 1e-7;
	float FON_DirectionalAlbedo( const in float mu, const in float roughness, const in float A ) {
		float muComp = 1.0 - mu;
		float gOverPi = muComp * ( 0.0571085289 + muComp * ( 0.491881867 + muComp * ( - 0.332181442 + muComp * 0.0714429953 ) ) );
		return A * ( 1.0 + roughness * gOverPi );
	}
	vec3 BRDF_EON( const in vec3 lightDir, const in vec3 viewDir, const in vec3 normal, const in vec3 diffuseColor, const in float roughness ) {
		vec3 rho = saturate( diffuseColor );
		if ( roughness <= EON_EPSILON ) return BRDF_Lambert( rho );
		float dotNL = saturate( dot( normal, lightDir ) );
		float dotNV = saturate( dot( normal, viewDir ) );
		float s = dot( lightDir, viewDir ) - dotNL * dotNV;
		float sOverT = ( s > 0.0 ) ? s / max( max( dotNL, dotNV ), EON_EPSILON ) : s;
		float A = 1.0 / ( 1.0 + ( 0.5 - 2.0 / ( 3.0 * PI ) ) * roughness );
		vec3 singleScatter = rho * RECIPROCAL_PI * A * ( 1.0 + roughness * sOverT );
		float averageAlbedo = A * ( 1.0 + ( 2.0 / 3.0 - 28.0 / ( 15.0 * PI ) ) * roughness );
		float albedoV = FON_DirectionalAlbedo( dotNV, roughness, A );
		float albedoL = FON_DirectionalAlbedo( dotNL, roughness, A );
		vec3 rhoMultiScatter = rho * rho * averageAlbedo / max( vec3( EON_EPSILON ), vec3( 1.0 ) - rho * ( 1.0 - averageAlbedo ) );
		vec3 multiScatter = rhoMultiScatter * RECIPROCAL_PI
			* max( EON_EPSILON, 1.0 - albedoV )
			* max( EON_EPSILON, 1.0 - albedoL )
			/ max( EON_EPSILON, 1.0 - averageAlbedo );
		return singleScatter + multiScatter;
	}
	vec3 EON_DirectionalAlbedo( const in vec3 diffuseColor, const in float roughness, const in float dotNV ) {
		vec3 rho = saturate( diffuseColor );
		if ( roughness <= EON_EPSILON ) return rho;
		float A = 1.0 / ( 1.0 + ( 0.5 - 2.0 / ( 3.0 * PI ) ) * roughness );
		float directionalAlbedo = FON_DirectionalAlbedo( dotNV, roughness, A );
		float averageAlbedo = A * ( 1.0 + ( 2.0 / 3.0 - 28.0 / ( 15.0 * PI ) ) * roughness );
		vec3 rhoMultiScatter = rho * rho * averageAlbedo / max( vec3( EON_EPSILON ), vec3( 1.0 ) - rho * ( 1.0 - averageAlbedo ) );
		return rho * directionalAlbedo + rhoMultiScatter * ( 1.0 - directionalAlbedo );
	}
#endif
float V_GGX_SmithCorrelated( const in float alpha, const in float dotNL, const in float dotNV ) {
	float a2 = pow2( alpha );
	float gv = dotNL * sqrt( a2 + ( 1.0 - a2 ) * pow2( dotNV ) );
	float gl = dotNV * sqrt( a2 + ( 1.0 - a2 ) * pow2( dotNL ) );
	return 0.5 / max( gv + gl, EPSILON );
}
float D_GGX( const in float alpha, const in float dotNH ) {
	float a2 = pow2( alpha );
	float denom = pow2( dotNH ) * ( a2 - 1.0 ) + 1.0;
	return RECIPROCAL_PI * a2 / pow2( denom );
}
#ifdef USE_ANISOTROPY
	float V_GGX_SmithCorrelated_Anisotropic( const in float alphaT, const in float alphaB, const in float dotTV, const in float dotBV, const in float dotTL, const in float dotBL, const in float dotNV, const in float dotNL ) {
		float gv = dotNL * length( vec3( alphaT * dotTV, alphaB * dotBV, dotNV ) );
		float gl = dotNV * length( vec3( alphaT * dotTL, alphaB * dotBL, dotNL ) );
		return 0.5 / max( gv + gl, EPSILON );
	}
	float D_GGX_Anisotropic( const in float alphaT, const in float alphaB, const in float dotNH, const in float dotTH, const in float dotBH ) {
		float a2 = alphaT * alphaB;
		highp vec3 v = vec3( alphaB * dotTH, alphaT * dotBH, a2 * dotNH );
		highp float v2 = dot( v, v );
		float w2 = a2 / v2;
		return RECIPROCAL_PI * a2 * pow2 ( w2 );
	}
#endif
#ifdef USE_CLEARCOAT
	vec3 BRDF_GGX_Clearcoat( const in vec3 lightDir, const in vec3 viewDir, const in vec3 normal, const in PhysicalMaterial material) {
		vec3 f0 = material.clearcoatF0;
		float f90 = material.clearcoatF90;
		float roughness = max( material.clearcoatRoughness, 0.045 );
		float alpha = pow2( roughness );
		vec3 halfDir = normalize( lightDir + viewDir );
		float dotNL = saturate( dot( normal, lightDir ) );
		float dotNV = saturate( dot( normal, viewDir ) );
		float dotNH = saturate( dot( normal, halfDir ) );
		float dotVH = saturate( dot( viewDir, halfDir ) );
		vec3 F = F_Schlick( f0, f90, dotVH );
		float V = V_GGX_SmithCorrelated( alpha, dotNL, dotNV );
		float D = D_GGX( alpha, dotNH );
		return F * ( V * D );
	}
#endif
vec3 BRDF_GGX( const in vec3 lightDir, const in vec3 viewDir, const in vec3 normal, const in PhysicalMaterial material ) {
	vec3 f0 = material.specularColorBlended;
	float f90 = material.specularF90;
	float roughness = max( material.roughness, 0.045 );
	float alpha = pow2( roughness );
	vec3 halfDir = normalize( lightDir + viewDir );
	float dotNL = saturate( dot( normal, lightDir ) );
	float dotNV = saturate( dot( normal, viewDir ) );
	float dotNH = saturate( dot( normal, halfDir ) );
	float dotVH = saturate( dot( viewDir, halfDir ) );
	vec3 F = F_Schlick( f0, f90, dotVH );
	#ifdef USE_IRIDESCENCE
		F = mix( F, material.iridescenceFresnel, material.iridescence );
	#endif
	#ifdef USE_ANISOTROPY
		float dotTL = dot( material.anisotropyT, lightDir );
		float dotTV = dot( material.anisotropyT, viewDir );
		float dotTH = dot( material.anisotropyT, halfDir );
		float dotBL = dot( material.anisotropyB, lightDir );
		float dotBV = dot( material.anisotropyB, viewDir );
		float dotBH = dot( material.anisotropyB, halfDir );
		float alphaT = max( material.alphaT, alpha );
		float V = V_GGX_SmithCorrelated_Anisotropic( alphaT, alpha, dotTV, dotBV, dotTL, dotBL, dotNV, dotNL );
		float D = D_GGX_Anisotropic( alphaT, alpha, dotNH, dotTH, dotBH );
	#else
		float V = V_GGX_SmithCorrelated( alpha, dotNL, dotNV );
		float D = D_GGX( alpha, dotNH );
	#endif
	return F * ( V * D );
}
vec2 LTC_Uv( const in vec3 N, const in vec3 V, const in float roughness ) {
	const float LUT_SIZE = 64.0;
	const float LUT_SCALE = ( LUT_SIZE - 1.0 ) / LUT_SIZE;
	const float LUT_BIAS = 0.5 / LUT_SIZE;
	float dotNV = saturate( dot( N, V ) );
	vec2 uv = vec2( roughness, sqrt( 1.0 - dotNV ) );
	uv = uv * LUT_SCALE + LUT_BIAS;
	return uv;
}
float LTC_ClippedSphereFormFactor( const in vec3 f ) {
	float l = length( f );
	return max( ( l * l + f.z ) / ( l + 1.0 ), 0.0 );
}
vec3 LTC_EdgeVectorFormFactor( const in vec3 v1, const in vec3 v2 ) {
	float x = dot( v1, v2 );
	float y = abs( x );
	float a = 0.8543985 + ( 0.4965155 + 0.0145206 * y ) * y;
	float b = 3.4175940 + ( 4.1616724 + y ) * y;
	float v = a / b;
	float theta_sintheta = ( x > 0.0 ) ? v : 0.5 * inversesqrt( max( 1.0 - x * x, 1e-7 ) ) - v;
	return cross( v1, v2 ) * theta_sintheta;
}
vec3 LTC_Evaluate( const in vec3 N, const in vec3 V, const in vec3 P, const in mat3 mInv, const in vec3 rectCoords[ 4 ] ) {
	vec3 v1 = rectCoords[ 1 ] - rectCoords[ 0 ];
	vec3 v2 = rectCoords[ 3 ] - rectCoords[ 0 ];
	vec3 lightNormal = cross( v1, v2 );
	if( dot( lightNormal, P - rectCoords[ 0 ] ) < 0.0 ) return vec3( 0.0 );
	vec3 T1, T2;
	T1 = normalize( V - N * dot( V, N ) );
	T2 = - cross( N, T1 );
	mat3 mat = mInv * transpose( mat3( T1, T2, N ) );
	vec3 coords[ 4 ];
	coords[ 0 ] = mat * ( rectCoords[ 0 ] - P );
	coords[ 1 ] = mat * ( rectCoords[ 1 ] - P );
	coords[ 2 ] = mat * ( rectCoords[ 2 ] - P );
	coords[ 3 ] = mat * ( rectCoords[ 3 ] - P );
	coords[ 0 ] = normalize( coords[ 0 ] );
	coords[ 1 ] = normalize( coords[ 1 ] );
	coords[ 2 ] = normalize( coords[ 2 ] );
	coords[ 3 ] = normalize( coords[ 3 ] );
	vec3 vectorFormFactor = vec3( 0.0 );
	vectorFormFactor += LTC_EdgeVectorFormFactor( coords[ 0 ], coords[ 1 ] );
	vectorFormFactor += LTC_EdgeVectorFormFactor( coords[ 1 ], coords[ 2 ] );
	vectorFormFactor += LTC_EdgeVectorFormFactor( coords[ 2 ], coords[ 3 ] );
	vectorFormFactor += LTC_EdgeVectorFormFactor( coords[ 3 ], coords[ 0 ] );
	float result = LTC_ClippedSphereFormFactor( vectorFormFactor );
	return vec3( result );
}
#if defined( USE_SHEEN )
float D_Charlie( float roughness, float dotNH ) {
	float alpha = pow2( roughness );
	float invAlpha = 1.0 / alpha;
	float cos2h = dotNH * dotNH;
	float sin2h = max( 1.0 - cos2h, 0.0078125 );
	return ( 2.0 + invAlpha ) * pow( sin2h, invAlpha * 0.5 ) / ( 2.0 * PI );
}
float V_Neubelt( float dotNV, float dotNL ) {
	return saturate( 1.0 / ( 4.0 * ( dotNL + dotNV - dotNL * dotNV ) ) );
}
vec3 BRDF_Sheen( const in vec3 lightDir, const in vec3 viewDir, const in vec3 normal, vec3 sheenColor, const in float sheenRoughness ) {
	vec3 halfDir = normalize( lightDir + viewDir );
	float dotNL = saturate( dot( normal, lightDir ) );
	float dotNV = saturate( dot( normal, viewDir ) );
	float dotNH = saturate( dot( normal, halfDir ) );
	float D = D_Charlie( sheenRoughness, dotNH );
	float V = V_Neubelt( dotNV, dotNL );
	return sheenColor * ( D * V );
}
#endif
float IBLSheenBRDF( const in vec3 normal, const in vec3 viewDir, const in float roughness ) {
	float dotNV = saturate( dot( normal, viewDir ) );
	float r2 = roughness * roughness;
	float rInv = 1.0 / ( roughness + 0.1 );
	float a = -1.9362 + 1.0678 * roughness + 0.4573 * r2 - 0.8469 * rInv;
	float b = -0.6014 + 0.5538 * roughness - 0.4670 * r2 - 0.1255 * rInv;
	float DG = exp( a * dotNV + b );
	return saturate( DG );
}
vec3 EnvironmentBRDF( const in vec3 normal, const in vec3 viewDir, const in vec3 specularColor, const in float specularF90, const in float roughness ) {
	float dotNV = saturate( dot( normal, viewDir ) );
	vec2 fab = texture2D( dfgLUT, vec2( roughness, dotNV ) ).rg;
	return specularColor * fab.x + specularF90 * fab.y;
}
#ifdef USE_IRIDESCENCE
void computeMultiscatteringIridescence( const in vec2 fab, const in vec3 specularColor, const in float specularF90, const in float iridescence, const in vec3 iridescenceF0, inout vec3 singleScatter, inout vec3 multiScatter ) {
#else
void computeMultiscattering( const in vec2 fab, const in vec3 specularColor, const in float specularF90, inout vec3 singleScatter, inout vec3 multiScatter ) {
#endif
	#ifdef USE_IRIDESCENCE
		vec3 Fr = mix( specularColor, iridescenceF0, iridescence );
	#else
		vec3 Fr = specularColor;
	#endif
	vec3 FssEss = Fr * fab.x + specularF90 * fab.y;
	float Ess = fab.x + fab.y;
	float Ems = 1.0 - Ess;
	vec3 Favg = Fr + ( 1.0 - Fr ) * 0.047619;	vec3 Fms = FssEss * Favg / ( 1.0 - Ems * Favg );
	singleScatter += FssEss;
	multiScatter += Fms * Ems;
}
#if NUM_RECT_AREA_LIGHTS > 0
	void RE_Direct_RectArea_Physical( const in RectAreaLight rectAreaLight, const in vec3 geometryPosition, const in vec3 geometryNormal, const in vec3 geometryViewDir, const in vec3 geometryClearcoatNormal, const in PhysicalMaterial material, inout ReflectedLight reflectedLight ) {
		vec3 normal = geometryNormal;
		vec3 viewDir = geometryViewDir;
		vec3 position = geometryPosition;
		vec3 lightPos = rectAreaLight.position;
		vec3 halfWidth = rectAreaLight.halfWidth;
		vec3 halfHeight = rectAreaLight.halfHeight;
		vec3 lightColor = rectAreaLight.color;
		float roughness = material.roughness;
		vec3 rectCoords[ 4 ];
		rectCoords[ 0 ] = lightPos + halfWidth - halfHeight;		rectCoords[ 1 ] = lightPos - halfWidth - halfHeight;
		rectCoords[ 2 ] = lightPos - halfWidth + halfHeight;
		rectCoords[ 3 ] = lightPos + halfWidth + halfHeight;
		vec2 uv = LTC_Uv( normal, viewDir, roughness );
		vec4 t1 = texture2D( ltc_1, uv );
		vec4 t2 = texture2D( ltc_2, uv );
		mat3 mInv = mat3(
			vec3( t1.x, 0, t1.y ),
			vec3(    0, 1,    0 ),
			vec3( t1.z, 0, t1.w )
		);
		vec3 fresnel = ( material.specularColorBlended * t2.x + ( material.specularF90 - material.specularColorBlended ) * t2.y );
		reflectedLight.directSpecular += lightColor * fresnel * LTC_Evaluate( normal, viewDir, position, mInv, rectCoords );
		reflectedLight.directDiffuse += lightColor * material.diffuseContribution * LTC_Evaluate( normal, viewDir, position, mat3( 1.0 ), rectCoords );
		#ifdef USE_CLEARCOAT
			vec3 Ncc = geometryClearcoatNormal;
			vec2 uvClearcoat = LTC_Uv( Ncc, viewDir, material.clearcoatRoughness );
			vec4 t1Clearcoat = texture2D( ltc_1, uvClearcoat );
			vec4 t2Clearcoat = texture2D( ltc_2, uvClearcoat );
			mat3 mInvClearcoat = mat3(
				vec3( t1Clearcoat.x, 0, t1Clearcoat.y ),
				vec3(             0, 1,             0 ),
				vec3( t1Clearcoat.z, 0, t1Clearcoat.w )
			);
			vec3 fresnelClearcoat = material.clearcoatF0 * t2Clearcoat.x + ( material.clearcoatF90 - material.clearcoatF0 ) * t2Clearcoat.y;
			clearcoatSpecularDirect += lightColor * fresnelClearcoat * LTC_Evaluate( Ncc, viewDir, position, mInvClearcoat, rectCoords );
		#endif
	}
#endif
void RE_Direct_Physical( const in IncidentLight directLight, const in vec3 geometryPosition, const in vec3 geometryNormal, const in vec3 geometryViewDir, const in vec3 geometryClearcoatNormal, const in PhysicalMaterial material, inout ReflectedLight reflectedLight ) {
	float dotNL = saturate( dot( geometryNormal, directLight.direction ) );
	vec3 irradiance = dotNL * directLight.color;
	#ifdef USE_CLEARCOAT
		float dotNLcc = saturate( dot( geometryClearcoatNormal, directLight.direction ) );
		vec3 ccIrradiance = dotNLcc * directLight.color;
		clearcoatSpecularDirect += ccIrradiance * BRDF_GGX_Clearcoat( directLight.direction, geometryViewDir, geometryClearcoatNormal, material );
	#endif
	#ifdef USE_SHEEN
 
 		sheenSpecularDirect += irradiance * BRDF_Sheen( directLight.direction, geometryViewDir, geometryNormal, material.sheenColor, material.sheenRoughness );
 
 		float sheenAlbedoV = IBLSheenBRDF( geometryNormal, geometryViewDir, material.sheenRoughness );
 		float sheenAlbedoL = IBLSheenBRDF( geometryNormal, directLight.direction, material.sheenRoughness );
 
 		float sheenEnergyComp = 1.0 - max3( material.sheenColor ) * max( sheenAlbedoV, sheenAlbedoL );
 
 		irradiance *= sheenEnergyComp;
 
 	#endif
	vec3 specularBRDF = BRDF_GGX( directLight.direction, geometryViewDir, geometryNormal, material );
	#ifdef USE_RETROREFLECTION
		vec3 retroViewDir = reflect( - geometryViewDir, geometryNormal );
		vec3 retroSpecularBRDF = BRDF_GGX( directLight.direction, retroViewDir, geometryNormal, material );
		specularBRDF = mix( specularBRDF, retroSpecularBRDF, saturate( material.retroreflectivity ) );
	#endif
	reflectedLight.directSpecular += irradiance * specularBRDF * material.multiScatteringCompensation;
	vec3 halfDir = normalize( directLight.direction + geometryViewDir );
	float dotVH = saturate( dot( geometryViewDir, halfDir ) );
	vec3 F = F_Schlick( material.specularColor, material.specularF90, dotVH );
	#ifdef USE_RETROREFLECTION
		vec3 retroHalfDir = normalize( directLight.direction + retroViewDir );
		float dotRetroVH = saturate( dot( retroViewDir, retroHalfDir ) );
		vec3 retroF = F_Schlick( material.specularColor, material.specularF90, dotRetroVH );
		F = mix( F, retroF, saturate( material.retroreflectivity ) );
	#endif
	#ifdef USE_DIFFUSE_ROUGHNESS
		vec3 diffuseBRDF = BRDF_EON( directLight.direction, geometryViewDir, geometryNormal, material.diffuseColor, material.diffuseRoughness ) * ( 1.0 - material.metalness );
	#else
		vec3 diffuseBRDF = BRDF_Lambert( material.diffuseContribution );
	#endif
	reflectedLight.directDiffuse += irradiance * diffuseBRDF * ( 1.0 - F );
}
void RE_IndirectDiffuse_Physical( const in vec3 irradiance, const in vec3 geometryPosition, const in vec3 geometryNormal, const in vec3 geometryViewDir, const in vec3 geometryClearcoatNormal, const in PhysicalMaterial material, inout ReflectedLight reflectedLight ) {
	vec3 singleScattering = vec3( 0.0 );
	vec3 multiScattering = vec3( 0.0 );
	#ifdef USE_IRIDESCENCE
		computeMultiscatteringIridescence( material.dfg, material.specularColor, material.specularF90, material.iridescence, material.iridescenceF0Dielectric, singleScattering, multiScattering );
	#else
		computeMultiscattering( material.dfg, material.specularColor, material.specularF90, singleScattering, multiScattering );
	#endif
	#ifdef USE_DIFFUSE_ROUGHNESS
		float dotNV = saturate( dot( geometryNormal, geometryViewDir ) );
		vec3 diffuseAlbedo = EON_DirectionalAlbedo( material.diffuseColor, material.diffuseRoughness, dotNV ) * ( 1.0 - material.metalness );
		vec3 diffuse = irradiance * RECIPROCAL_PI * diffuseAlbedo * ( 1.0 - singleScattering - multiScattering );
	#else
		vec3 diffuse = irradiance * BRDF_Lambert( material.diffuseContribution ) * ( 1.0 - singleScattering - multiScattering );
	#endif
	#ifdef USE_SHEEN
		float sheenAlbedo = IBLSheenBRDF( geometryNormal, geometryViewDir, material.sheenRoughness );
		sheenSpecularIndirect += irradiance * material.sheenColor * sheenAlbedo * RECIPROCAL_PI;
		float sheenEnergyComp = 1.0 - max3( material.sheenColor ) * sheenAlbedo;
		diffuse *= sheenEnergyComp;
	#endif
	reflectedLight.indirectDiffuse += diffuse;
}
void RE_IndirectSpecular_Physical( const in vec3 radiance, const in vec3 irradiance, const in vec3 clearcoatRadiance, const in vec3 geometryPosition, const in vec3 geometryNormal, const in vec3 geometryViewDir, const in vec3 geometryClearcoatNormal, const in PhysicalMaterial material, inout ReflectedLight reflectedLight) {
	#ifdef USE_CLEARCOAT
		clearcoatSpecularIndirect += clearcoatRadiance * EnvironmentBRDF( geometryClearcoatNormal, geometryViewDir, material.clearcoatF0, material.clearcoatF90, material.clearcoatRoughness );
	#endif
	#ifdef USE_SHEEN
		sheenSpecularIndirect += irradiance * material.sheenColor * IBLSheenBRDF( geometryNormal, geometryViewDir, material.sheenRoughness ) * RECIPROCAL_PI;
 	#endif
	vec3 singleScatteringDielectric = vec3( 0.0 );
	vec3 multiScatteringDielectric = vec3( 0.0 );
	vec3 singleScatteringMetallic = vec3( 0.0 );
	vec3 multiScatteringMetallic = vec3( 0.0 );
	#ifdef USE_IRIDESCENCE
		computeMultiscatteringIridescence( material.dfg, material.specularColor, material.specularF90, material.iridescence, material.iridescenceF0Dielectric, singleScatteringDielectric, multiScatteringDielectric );
		computeMultiscatteringIridescence( material.dfg, material.diffuseColor, material.specularF90, material.iridescence, material.iridescenceF0Metallic, singleScatteringMetallic, multiScatteringMetallic );
	#else
		computeMultiscattering( material.dfg, material.specularColor, material.specularF90, singleScatteringDielectric, multiScatteringDielectric );
		computeMultiscattering( material.dfg, material.diffuseColor, material.specularF90, singleScatteringMetallic, multiScatteringMetallic );
	#endif
	vec3 singleScattering = mix( singleScatteringDielectric, singleScatteringMetallic, material.metalness );
	vec3 multiScattering = mix( multiScatteringDielectric, multiScatteringMetallic, material.metalness );
	vec3 totalScatteringDielectric = singleScatteringDielectric + multiScatteringDielectric;
	#ifdef USE_DIFFUSE_ROUGHNESS
		float dotNV = saturate( dot( geometryNormal, geometryViewDir ) );
		vec3 diffuse = EON_DirectionalAlbedo( material.diffuseColor, material.diffuseRoughness, dotNV ) * ( 1.0 - material.metalness ) * ( 1.0 - totalScatteringDielectric );
	#else
		vec3 diffuse = material.diffuseContribution * ( 1.0 - totalScatteringDielectric );
	#endif
	vec3 cosineWeightedIrradiance = irradiance * RECIPROCAL_PI;
	vec3 indirectSpecular = radiance * singleScattering;
	indirectSpecular += multiScattering * cosineWeightedIrradiance;
	vec3 indirectDiffuse = diffuse * cosineWeightedIrradiance;
	#ifdef USE_SHEEN
		float sheenAlbedo = IBLSheenBRDF( geometryNormal, geometryViewDir, material.sheenRoughness );
		float sheenEnergyComp = 1.0 - max3( material.sheenColor ) * sheenAlbedo;
		indirectSpecular *= sheenEnergyComp;
		indirectDiffuse *= sheenEnergyComp;
	#endif
	reflectedLight.indirectSpecular += indirectSpecular;
	reflectedLight.indirectDiffuse += indirectDiffuse;
}
#define RE_Direct				RE_Direct_Physical
#define RE_Direct_RectArea		RE_Direct_RectArea_Physical
#define RE_IndirectDiffuse		RE_IndirectDiffuse_Physical
#define RE_IndirectSpecular		RE_IndirectSpecular_Physical
float computeSpecularOcclusion( const in float dotNV, const in float ambientOcclusion, const in float roughness ) {
	return saturate( pow( dotNV + ambientOcclusion, exp2( - 16.0 * roughness - 1.0 ) ) - 1.0 + ambientOcclusion );
}`,$b=`
vec3 geometryPosition = - vViewPosition;
vec3 geometryNormal = normal;
vec3 geometryViewDir = ( isOrthographic ) ? vec3( 0, 0, 1 ) : normalize( vViewPosition );
vec3 geometryClearcoatNormal = vec3( 0.0 );
#ifdef USE_CLEARCOAT
	geometryClearcoatNormal = clearcoatNormal;
#endif
#ifdef USE_IRIDESCENCE
	float dotNVi = saturate( dot( normal, geometryViewDir ) );
	if ( material.iridescenceThickness == 0.0 ) {
		material.iridescence = 0.0;
	} else {
		material.iridescence = saturate( material.iridescence );
	}
	if ( material.iridescence > 0.0 ) {
		vec3 iridescenceFresnelDielectric = evalIridescence( 1.0, material.iridescenceIOR, dotNVi, material.iridescenceThickness, material.specularColor );
		vec3 iridescenceFresnelMetallic = evalIridescence( 1.0, material.iridescenceIOR, dotNVi, material.iridescenceThickness, material.diffuseColor );
		material.iridescenceFresnel = mix( iridescenceFresnelDielectric, iridescenceFresnelMetallic, material.metalness );
		material.iridescenceF0Dielectric = Schlick_to_F0( iridescenceFresnelDielectric, 1.0, dotNVi );
		material.iridescenceF0Metallic = Schlick_to_F0( iridescenceFresnelMetallic, 1.0, dotNVi );
	}
#endif
#ifdef STANDARD
	float dotNVms = saturate( dot( geometryNormal, geometryViewDir ) );
	material.dfg = texture2D( dfgLUT, vec2( material.roughness, dotNVms ) ).rg;
	#if ( NUM_SUN_LIGHTS > 0 || NUM_DIR_LIGHTS > 0 || NUM_POINT_LIGHTS > 0 || NUM_SPOT_LIGHTS > 0 )
		float EssMs = material.dfg.x + material.dfg.y;
		material.multiScatteringCompensation = 1.0 + material.specularColorBlended * ( 1.0 / EssMs - 1.0 );
	#endif
#endif
IncidentLight directLight;
#if ( NUM_POINT_LIGHTS > 0 ) && defined( RE_Direct )
	PointLight pointLight;
	#if defined( USE_SHADOWMAP ) && NUM_POINT_LIGHT_SHADOWS > 0
	PointLightShadow pointLightShadow;
	#endif
	#pragma unroll_loop_start
	for ( int i = 0; i < NUM_POINT_LIGHTS; i ++ ) {
		pointLight = pointLights[ i ];
		getPointLightInfo( pointLight, geometryPosition, directLight );
		#if defined( USE_SHADOWMAP ) && ( UNROLLED_LOOP_INDEX < NUM_POINT_LIGHT_SHADOWS ) && ( defined( SHADOWMAP_TYPE_PCF ) || defined( SHADOWMAP_TYPE_BASIC ) )
		pointLightShadow = pointLightShadows[ i ];
		directLight.color *= ( directLight.visible && receiveShadow ) ? getPointShadow( pointShadowMap[ i ], pointLightShadow.shadowMapSize, pointLightShadow.shadowIntensity, pointLightShadow.shadowBias, pointLightShadow.shadowRadius, vPointShadowCoord[ i ], pointLightShadow.shadowCameraNear, pointLightShadow.shadowCameraFar ) : 1.0;
		#endif
		RE_Direct( directLight, geometryPosition, geometryNormal, geometryViewDir, geometryClearcoatNormal, material, reflectedLight );
	}
	#pragma unroll_loop_end
#endif
#if ( NUM_SPOT_LIGHTS > 0 ) && defined( RE_Direct )
	SpotLight spotLight;
	vec4 spotColor;
	vec3 spotLightCoord;
	bool inSpotLightMap;
	#if defined( USE_SHADOWMAP ) && NUM_SPOT_LIGHT_SHADOWS > 0
	SpotLightShadow spotLightShadow;
	#endif
	#pragma unroll_loop_start
	for ( int i = 0; i < NUM_SPOT_LIGHTS; i ++ ) {
		spotLight = spotLights[ i ];
		getSpotLightInfo( spotLight, geometryPosition, directLight );
		#if ( UNROLLED_LOOP_INDEX < NUM_SPOT_LIGHT_SHADOWS_WITH_MAPS )
		#define SPOT_LIGHT_MAP_INDEX UNROLLED_LOOP_INDEX
		#elif ( UNROLLED_LOOP_INDEX < NUM_SPOT_LIGHT_SHADOWS )
		#define SPOT_LIGHT_MAP_INDEX NUM_SPOT_LIGHT_MAPS
		#else
		#define SPOT_LIGHT_MAP_INDEX ( UNROLLED_LOOP_INDEX - NUM_SPOT_LIGHT_SHADOWS + NUM_SPOT_LIGHT_SHADOWS_WITH_MAPS )
		#endif
		#if ( SPOT_LIGHT_MAP_INDEX < NUM_SPOT_LIGHT_MAPS )
			spotLightCoord = vSpotLightCoord[ i ].xyz / vSpotLightCoord[ i ].w;
			inSpotLightMap = all( lessThan( abs( spotLightCoord * 2. - 1. ), vec3( 1.0 ) ) );
			spotColor = texture2D( spotLightMap[ SPOT_LIGHT_MAP_INDEX ], spotLightCoord.xy );
			directLight.color = inSpotLightMap ? directLight.color * spotColor.rgb : directLight.color;
		#endif
		#undef SPOT_LIGHT_MAP_INDEX
		#if defined( USE_SHADOWMAP ) && ( UNROLLED_LOOP_INDEX < NUM_SPOT_LIGHT_SHADOWS )
		spotLightShadow = spotLightShadows[ i ];
		directLight.color *= ( directLight.visible && receiveShadow ) ? getShadow( spotShadowMap[ i ], spotLightShadow.shadowMapSize, spotLightShadow.shadowIntensity, spotLightShadow.shadowBias, spotLightShadow.shadowRadius, vSpotLightCoord[ i ] ) : 1.0;
		#endif
		RE_Direct( directLight, geometryPosition, geometryNormal, geometryViewDir, geometryClearcoatNormal, material, reflectedLight );
	}
	#pragma unroll_loop_end
#endif
#if ( NUM_SUN_LIGHTS > 0 ) && defined( RE_Direct )
	SunLight sunLight;
	#if defined( USE_SHADOWMAP ) && NUM_SUN_LIGHT_SHADOWS > 0
	SunLightShadow sunLightShadow;
	#endif
	#pragma unroll_loop_start
	for ( int i = 0; i < NUM_SUN_LIGHTS; i ++ ) {
		sunLight = sunLights[ i ];
		getSunLightInfo( sunLight, directLight );
		#if defined( USE_SHADOWMAP ) && ( UNROLLED_LOOP_INDEX < NUM_SUN_LIGHT_SHADOWS )
		sunLightShadow = sunLightShadows[ i ];
		directLight.color *= ( directLight.visible && receiveShadow ) ? getSunShadow( sunShadowMap[ i ], sunLightShadow, UNROLLED_LOOP_INDEX ) : 1.0;
		#endif
		RE_Direct( directLight, geometryPosition, geometryNormal, geometryViewDir, geometryClearcoatNormal, material, reflectedLight );
	}
	#pragma unroll_loop_end
#endif
#if ( NUM_DIR_LIGHTS > 0 ) && defined( RE_Direct )
	DirectionalLight directionalLight;
	#if defined( USE_SHADOWMAP ) && NUM_DIR_LIGHT_SHADOWS > 0
	DirectionalLightShadow directionalLightShadow;
	#endif
	#pragma unroll_loop_start
	for ( int i = 0; i < NUM_DIR_LIGHTS; i ++ ) {
		directionalLight = directionalLights[ i ];
		getDirectionalLightInfo( directionalLight, directLight );
		#if defined( USE_SHADOWMAP ) && ( UNROLLED_LOOP_INDEX < NUM_DIR_LIGHT_SHADOWS )
		directionalLightShadow = directionalLightShadows[ i ];
		directLight.color *= ( directLight.visible && receiveShadow ) ? getShadow( directionalShadowMap[ i ], directionalLightShadow.shadowMapSize, directionalLightShadow.shadowIntensity, directionalLightShadow.shadowBias, directionalLightShadow.shadowRadius, vDirectionalShadowCoord[ i ] ) : 1.0;
		#endif
		RE_Direct( directLight, geometryPosition, geometryNormal, geometryViewDir, geometryClearcoatNormal, material, reflectedLight );
	}
	#pragma unroll_loop_end
#endif
#if ( NUM_RECT_AREA_LIGHTS > 0 ) && defined( RE_Direct_RectArea )
	RectAreaLight rectAreaLight;
	#pragma unroll_loop_start
	for ( int i = 0; i < NUM_RECT_AREA_LIGHTS; i ++ ) {
		rectAreaLight = rectAreaLights[ i ];
		RE_Direct_RectArea( rectAreaLight, geometryPosition, geometryNormal, geometryViewDir, geometryClearcoatNormal, material, reflectedLight );
	}
	#pragma unroll_loop_end
#endif
#if defined( RE_IndirectDiffuse )
	vec3 iblIrradiance = vec3( 0.0 );
	vec3 irradiance = getAmbientLightIrradiance( ambientLightColor );
	#if defined( USE_LIGHT_PROBES )
		irradiance += getLightProbeIrradiance( lightProbe, geometryNormal );
	#endif
	#if ( NUM_HEMI_LIGHTS > 0 )
		#pragma unroll_loop_start
		for ( int i = 0; i < NUM_HEMI_LIGHTS; i ++ ) {
			irradiance += getHemisphereLightIrradiance( hemisphereLights[ i ], geometryNormal );
		}
		#pragma unroll_loop_end
	#endif
	#if NUM_LIGHT_PROBE_GRIDS > 0
		vec3 probeWorldPos = ( ( vec4( geometryPosition, 1.0 ) - viewMatrix[ 3 ] ) * viewMatrix ).xyz;
		vec3 probeWorldNormal = transformNormalByInverseViewMatrix( geometryNormal, viewMatrix );
		int probeGrid = - 1;
		#pragma unroll_loop_start
		for ( int i = 0; i < NUM_LIGHT_PROBE_GRIDS; i ++ ) {
			if ( isInsideLightProbeGrid( probeWorldPos, probeWorldNormal, probesMin[ i ], probesMax[ i ], probesResolution[ i ] ) ) probeGrid = UNROLLED_LOOP_INDEX;
		}
		#pragma unroll_loop_end
		#pragma unroll_loop_start
		for ( int i = 0; i < NUM_LIGHT_PROBE_GRIDS; i ++ ) {
			if ( probeGrid == UNROLLED_LOOP_INDEX ) irradiance += getLightProbeGridIrradiance( probesSH[ i ], probesMin[ i ], probesMax[ i ], probesResolution[ i ], probeWorldPos, probeWorldNormal );
		}
		#pragma unroll_loop_end
	#endif
#endif
#if defined( RE_IndirectSpecular )
	vec3 radiance = vec3( 0.0 );
	vec3 clearcoatRadiance = vec3( 0.0 );
#endif`,Zb=`#if defined( RE_IndirectDiffuse )
	#ifdef USE_LIGHTMAP
		vec4 lightMapTexel = texture2D( lightMap, vLightMapUv );
		vec3 lightMapIrradiance = lightMapTexel.rgb * lightMapIntensity;
		irradiance += lightMapIrradiance;
	#endif
	#if defined( USE_ENVMAP ) && defined( ENVMAP_TYPE_PMREM )
		#if defined( STANDARD ) || defined( LAMBERT ) || defined( PHONG )
			iblIrradiance += getIBLIrradiance( geometryNormal );
		#endif
	#endif
#endif
#if defined( USE_ENVMAP ) && defined( RE_IndirectSpecular )
	#ifdef USE_ANISOTROPY
		vec3 iblRadiance = getIBLAnisotropyRadiance( geometryViewDir, geometryNormal, material.roughness, material.anisotropyB, material.anisotropy );
	#else
		vec3 iblRadiance = getIBLRadiance( geometryViewDir, geometryNormal, material.roughness );
	#endif
	#ifdef USE_RETROREFLECTION
		#ifdef USE_ANISOTROPY
			vec3 retroIBLRadiance = getIBLAnisotropyRetroRadiance( geometryViewDir, geometryNormal, material.roughness, material.anisotropyB, material.anisotropy );
		#else
			vec3 retroIBLRadiance = getIBLRetroRadiance( geometryViewDir, geometryNormal, material.roughness );
		#endif
		iblRadiance = mix( iblRadiance, retroIBLRadiance, saturate( material.retroreflectivity ) );
	#endif
	radiance += iblRadiance;
	#ifdef USE_CLEARCOAT
		clearcoatRadiance += getIBLRadiance( geometryViewDir, geometryClearcoatNormal, material.clearcoatRoughness );
	#endif
#endif`,Jb=`#if defined( RE_IndirectDiffuse )
	#if defined( LAMBERT ) || defined( PHONG )
		irradiance += iblIrradiance;
	#endif
	RE_IndirectDiffuse( irradiance, geometryPosition, geometryNormal, geometryViewDir, geometryClearcoatNormal, material, reflectedLight );
#endif
#if defined( RE_IndirectSpecular )
	RE_IndirectSpecular( radiance, iblIrradiance, clearcoatRadiance, geometryPosition, geometryNormal, geometryViewDir, geometryClearcoatNormal, material, reflectedLight );
#endif`,Kb=`#if NUM_LIGHT_PROBE_GRIDS > 0
uniform highp sampler3D probesSH[ NUM_LIGHT_PROBE_GRIDS ];
uniform vec3 probesMin[ NUM_LIGHT_PROBE_GRIDS ];
uniform vec3 probesMax[ NUM_LIGHT_PROBE_GRIDS ];
uniform vec3 probesResolution[ NUM_LIGHT_PROBE_GRIDS ];
bool isInsideLightProbeGrid( vec3 worldPos, vec3 worldNormal, vec3 probesMin, vec3 probesMax, vec3 probesResolution ) {
	vec3 spacing = ( probesMax - probesMin ) / probesResolution;
	vec3 samplePos = worldPos + worldNormal * spacing * 0.5;
	vec3 margin = spacing * 0.01;
	return all( greaterThanEqual( samplePos, probesMin - margin ) ) && all( lessThanEqual( samplePos, probesMax + margin ) );
}
vec3 getLightProbeGridIrradiance( highp sampler3D probesSH, vec3 probesMin, vec3 probesMax, vec3 probesResolution, vec3 worldPos, vec3 worldNormal ) {
	vec3 res = probesResolution;
	vec3 gridRange = probesMax - probesMin;
	vec3 probeSpacing = gridRange / res;
	vec3 samplePos = worldPos + worldNormal * probeSpacing * 0.5;
	vec3 uvw = clamp( ( samplePos - probesMin ) / gridRange, 0.5 / res, 1.0 - 0.5 / res );
	float nz          = res.z;
	float paddedSlices = nz + 2.0;
	float atlasDepth  = 7.0 * paddedSlices;
	float uvZBase     = uvw.z * nz + 1.0;
	vec4 s0 = texture( probesSH, vec3( uvw.xy, ( uvZBase                       ) / atlasDepth ) );
	vec4 s1 = texture( probesSH, vec3( uvw.xy, ( uvZBase +       paddedSlices   ) / atlasDepth ) );
	vec4 s2 = texture( probesSH, vec3( uvw.xy, ( uvZBase + 2.0 * paddedSlices   ) / atlasDepth ) );
	vec4 s3 = texture( probesSH, vec3( uvw.xy, ( uvZBase + 3.0 * paddedSlices   ) / atlasDepth ) );
	vec4 s4 = texture( probesSH, vec3( uvw.xy, ( uvZBase + 4.0 * paddedSlices   ) / atlasDepth ) );
	vec4 s5 = texture( probesSH, vec3( uvw.xy, ( uvZBase + 5.0 * paddedSlices   ) / atlasDepth ) );
	vec4 s6 = texture( probesSH, vec3( uvw.xy, ( uvZBase + 6.0 * paddedSlices   ) / atlasDepth ) );
	vec3 c0 = s0.xyz;
	vec3 c1 = vec3( s0.w, s1.xy );
	vec3 c2 = vec3( s1.zw, s2.x );
	vec3 c3 = s2.yzw;
	vec3 c4 = s3.xyz;
	vec3 c5 = vec3( s3.w, s4.xy );
	vec3 c6 = vec3( s4.zw, s5.x );
	vec3 c7 = s5.yzw;
	vec3 c8 = s6.xyz;
	float x = worldNormal.x, y = worldNormal.y, z = worldNormal.z;
	vec3 result = c0 * 0.886227;
	result += c1 * 2.0 * 0.511664 * y;
	result += c2 * 2.0 * 0.511664 * z;
	result += c3 * 2.0 * 0.511664 * x;
	result += c4 * 2.0 * 0.429043 * x * y;
	result += c5 * 2.0 * 0.429043 * y * z;
	result += c6 * ( 0.743125 * z * z - 0.247708 );
	result += c7 * 2.0 * 0.429043 * x * z;
	result += c8 * 0.429043 * ( x * x - y * y );
	return max( result, vec3( 0.0 ) );
}
#endif`,jb=`#if defined( USE_LOGARITHMIC_DEPTH_BUFFER )
	gl_FragDepth = vIsPerspective == 0.0 ? gl_FragCoord.z : log2( vFragDepth ) * logDepthBufFC * 0.5;
#endif`,Qb=`#if defined( USE_LOGARITHMIC_DEPTH_BUFFER )
	uniform float logDepthBufFC;
	varying float vFragDepth;
	varying float vIsPerspective;
#endif`,eM=`#ifdef USE_LOGARITHMIC_DEPTH_BUFFER
	varying float vFragDepth;
	varying float vIsPerspective;
#endif`,tM=`#ifdef USE_LOGARITHMIC_DEPTH_BUFFER
	vFragDepth = 1.0 + gl_Position.w;
	vIsPerspective = float( isPerspectiveMatrix( projectionMatrix ) );
#endif`,nM=`#ifdef USE_MAP
	vec4 sampledDiffuseColor = texture2D( map, vMapUv );
	#ifdef DECODE_VIDEO_TEXTURE
		sampledDiffuseColor = sRGBTransferEOTF( sampledDiffuseColor );
	#endif
	diffuseColor *= sampledDiffuseColor;
#endif`,iM=`#ifdef USE_MAP
	uniform sampler2D map;
#endif`,sM=`#if defined( USE_MAP ) || defined( USE_ALPHAMAP )
	#if defined( USE_POINTS_UV )
		vec2 uv = vUv;
	#else
		vec2 uv = ( uvTransform * vec3( gl_PointCoord.x, 1.0 - gl_PointCoord.y, 1 ) ).xy;
	#endif
#endif
#ifdef USE_MAP
	diffuseColor *= texture2D( map, uv );
#endif
#ifdef USE_ALPHAMAP
	diffuseColor.a *= texture2D( alphaMap, uv ).g;
#endif`,rM=`#if defined( USE_POINTS_UV )
	varying vec2 vUv;
#else
	#if defined( USE_MAP ) || defined( USE_ALPHAMAP )
		uniform mat3 uvTransform;
	#endif
#endif
#ifdef USE_MAP
	uniform sampler2D map;
#endif
#ifdef USE_ALPHAMAP
	uniform sampler2D alphaMap;
#endif`,oM=`float metalnessFactor = metalness;
#ifdef USE_METALNESSMAP
	vec4 texelMetalness = texture2D( metalnessMap, vMetalnessMapUv );
	metalnessFactor *= texelMetalness.b;
#endif`,aM=`#ifdef USE_METALNESSMAP
	uniform sampler2D metalnessMap;
#endif`,lM=`#ifdef USE_INSTANCING_MORPH
	float morphTargetInfluences[ MORPHTARGETS_COUNT ];
	float morphTargetBaseInfluence = texelFetch( morphTexture, ivec2( 0, gl_InstanceID ), 0 ).r;
	for ( int i = 0; i < MORPHTARGETS_COUNT; i ++ ) {
		morphTargetInfluences[i] =  texelFetch( morphTexture, ivec2( i + 1, gl_InstanceID ), 0 ).r;
	}
#endif`,cM=`#if defined( USE_MORPHCOLORS )
	#if defined( USE_COLOR_ALPHA )
		vColor *= morphTargetBaseInfluence;
	#elif defined( USE_COLOR )
		vColor.rgb *= morphTargetBaseInfluence;
	#endif
	for ( int i = 0; i < MORPHTARGETS_COUNT; i ++ ) {
		#if defined( USE_COLOR_ALPHA )
			if ( morphTargetInfluences[ i ] != 0.0 ) vColor += getMorph( gl_VertexID, i, 2 ) * morphTargetInfluences[ i ];
		#elif defined( USE_COLOR )
			if ( morphTargetInfluences[ i ] != 0.0 ) vColor.rgb += getMorph( gl_VertexID, i, 2 ).rgb * morphTargetInfluences[ i ];
		#endif
	}
#endif`,hM=`#ifdef USE_MORPHNORMALS
	objectNormal *= morphTargetBaseInfluence;
	for ( int i = 0; i < MORPHTARGETS_COUNT; i ++ ) {
		if ( morphTargetInfluences[ i ] != 0.0 ) objectNormal += getMorph( gl_VertexID, i, 1 ).xyz * morphTargetInfluences[ i ];
	}
#endif`,uM=`#ifdef USE_MORPHTARGETS
	#ifndef USE_INSTANCING_MORPH
		uniform float morphTargetBaseInfluence;
		uniform float morphTargetInfluences[ MORPHTARGETS_COUNT ];
	#endif
	uniform sampler2DArray morphTargetsTexture;
	uniform ivec2 morphTargetsTextureSize;
	vec4 getMorph( const in int vertexIndex, const in int morphTargetIndex, const in int offset ) {
		int texelIndex = vertexIndex * MORPHTARGETS_TEXTURE_STRIDE + offset;
		int y = texelIndex / morphTargetsTextureSize.x;
		int x = texelIndex - y * morphTargetsTextureSize.x;
		ivec3 morphUV = ivec3( x, y, morphTargetIndex );
		return texelFetch( morphTargetsTexture, morphUV, 0 );
	}
#endif`,dM=`#ifdef USE_MORPHTARGETS
	transformed *= morphTargetBaseInfluence;
	for ( int i = 0; i < MORPHTARGETS_COUNT; i ++ ) {
		if ( morphTargetInfluences[ i ] != 0.0 ) transformed += getMorph( gl_VertexID, i, 0 ).xyz * morphTargetInfluences[ i ];
	}
#endif`,fM=`float faceDirection = gl_FrontFacing ? 1.0 : - 1.0;
#ifdef FLAT_SHADED
	vec3 fdx = dFdx( vViewPosition );
	vec3 fdy = dFdy( vViewPosition );
	vec3 normal = normalize( cross( fdx, fdy ) );
#else
	vec3 normal = normalize( vNormal );
	#ifdef DOUBLE_SIDED
		normal *= faceDirection;
	#endif
#endif
#if defined( USE_NORMALMAP_TANGENTSPACE ) || defined( USE_CLEARCOAT_NORMALMAP ) || defined( USE_ANISOTROPY )
	#ifdef USE_TANGENT
		mat3 tbn = mat3( normalize( vTangent ), normalize( vBitangent ), normal );
	#else
		mat3 tbn = getTangentFrame( - vViewPosition, normal,
		#if defined( USE_NORMALMAP )
			vNormalMapUv
		#elif defined( USE_CLEARCOAT_NORMALMAP )
			vClearcoatNormalMapUv
		#else
			vUv
		#endif
		);
	#endif
	#ifdef DOUBLE_SIDED
		tbn[0] *= faceDirection;
		tbn[1] *= faceDirection;
	#endif
#endif
#ifdef USE_CLEARCOAT_NORMALMAP
	#ifdef USE_TANGENT
		mat3 tbn2 = mat3( normalize( vTangent ), normalize( vBitangent ), normal );
	#else
		mat3 tbn2 = getTangentFrame( - vViewPosition, normal, vClearcoatNormalMapUv );
	#endif
	#ifdef DOUBLE_SIDED
		tbn2[0] *= faceDirection;
		tbn2[1] *= faceDirection;
	#endif
#endif
vec3 nonPerturbedNormal = normal;`,pM=`#ifdef USE_NORMALMAP_OBJECTSPACE
	normal = texture2D( normalMap, vNormalMapUv ).xyz * 2.0 - 1.0;
	#ifdef FLIP_SIDED
		normal = - normal;
	#endif
	#ifdef DOUBLE_SIDED
		normal = normal * faceDirection;
	#endif
	normal = normalize( normalMatrix * normal );
#elif defined( USE_NORMALMAP_TANGENTSPACE )
	vec3 mapN = texture2D( normalMap, vNormalMapUv ).xyz * 2.0 - 1.0;
	#if defined( USE_PACKED_NORMALMAP )
		mapN = vec3( mapN.xy, sqrt( saturate( 1.0 - dot( mapN.xy, mapN.xy ) ) ) );
	#endif
	mapN.xy *= normalScale;
	normal = normalize( tbn * mapN );
#elif defined( USE_BUMPMAP )
	normal = perturbNormalArb( - vViewPosition, normal, dHdxy_fwd(), faceDirection );
#endif`,mM=`#ifndef FLAT_SHADED
	varying vec3 vNormal;
	#ifdef USE_TANGENT
		varying vec3 vTangent;
		varying vec3 vBitangent;
	#endif
#endif`,gM=`#ifndef FLAT_SHADED
	varying vec3 vNormal;
	#ifdef USE_TANGENT
		varying vec3 vTangent;
		varying vec3 vBitangent;
	#endif
#endif`,_M=`#ifndef FLAT_SHADED
	vNormal = normalize( transformedNormal );
	#ifdef USE_TANGENT
		vTangent = normalize( transformedTangent );
		vBitangent = normalize( cross( vNormal, vTangent ) * tangent.w );
		#ifdef FLIP_SIDED
			vBitangent = - vBitangent;
		#endif
	#endif
#endif`,xM=`#ifdef USE_NORMALMAP
	uniform sampler2D normalMap;
	uniform vec2 normalScale;
#endif
#ifdef USE_NORMALMAP_OBJECTSPACE
	uniform mat3 normalMatrix;
#endif
#if ! defined ( USE_TANGENT ) && ( defined ( USE_NORMALMAP_TANGENTSPACE ) || defined ( USE_CLEARCOAT_NORMALMAP ) || defined( USE_ANISOTROPY ) )
	mat3 getTangentFrame( vec3 eye_pos, vec3 surf_norm, vec2 uv ) {
		vec3 q0 = dFdx( eye_pos.xyz );
		vec3 q1 = dFdy( eye_pos.xyz );
		vec2 st0 = dFdx( uv.st );
		vec2 st1 = dFdy( uv.st );
		vec3 N = surf_norm;
		vec3 q1perp = cross( q1, N );
		vec3 q0perp = cross( N, q0 );
		vec3 T = q1perp * st0.x + q0perp * st1.x;
		vec3 B = q1perp * st0.y + q0perp * st1.y;
		float det = max( dot( T, T ), dot( B, B ) );
		float scale = ( det == 0.0 ) ? 0.0 : inversesqrt( det );
		return mat3( T * scale, B * scale, N );
	}
#endif`,yM=`#ifdef USE_CLEARCOAT
	vec3 clearcoatNormal = nonPerturbedNormal;
#endif`,vM=`#ifdef USE_CLEARCOAT_NORMALMAP
	vec3 clearcoatMapN = texture2D( clearcoatNormalMap, vClearcoatNormalMapUv ).xyz * 2.0 - 1.0;
	clearcoatMapN.xy *= clearcoatNormalScale;
	clearcoatNormal = normalize( tbn2 * clearcoatMapN );
#endif`,SM=`#ifdef USE_CLEARCOATMAP
	uniform sampler2D clearcoatMap;
#endif
#ifdef USE_CLEARCOAT_NORMALMAP
	uniform sampler2D clearcoatNormalMap;
	uniform vec2 clearcoatNormalScale;
#endif
#ifdef USE_CLEARCOAT_ROUGHNESSMAP
	uniform sampler2D clearcoatRoughnessMap;
#endif`,bM=`#ifdef USE_IRIDESCENCEMAP
	uniform sampler2D iridescenceMap;
#endif
#ifdef USE_IRIDESCENCE_THICKNESSMAP
	uniform sampler2D iridescenceThicknessMap;
#endif`,MM=`#ifdef OPAQUE
diffuseColor.a = 1.0;
#endif
#ifdef USE_TRANSMISSION
diffuseColor.a *= material.transmissionAlpha;
#endif
gl_FragColor = vec4( outgoingLight, diffuseColor.a );`,wM=`vec3 packNormalToRGB( const in vec3 normal ) {
	return normalize( normal ) * 0.5 + 0.5;
}
vec3 unpackRGBToNormal( const in vec3 rgb ) {
	return 2.0 * rgb.xyz - 1.0;
}
const float PackUpscale = 256. / 255.;const float UnpackDownscale = 255. / 256.;const float ShiftRight8 = 1. / 256.;
const float Inv255 = 1. / 255.;
const vec4 PackFactors = vec4( 1.0, 256.0, 256.0 * 256.0, 256.0 * 256.0 * 256.0 );
const vec2 UnpackFactors2 = vec2( UnpackDownscale, 1.0 / PackFactors.g );
const vec3 UnpackFactors3 = vec3( UnpackDownscale / PackFactors.rg, 1.0 / PackFactors.b );
const vec4 UnpackFactors4 = vec4( UnpackDownscale / PackFactors.rgb, 1.0 / PackFactors.a );
vec4 packDepthToRGBA( const in float v ) {
	if( v <= 0.0 )
		return vec4( 0., 0., 0., 0. );
	if( v >= 1.0 )
		return vec4( 1., 1., 1., 1. );
	float vuf;
	float af = modf( v * PackFactors.a, vuf );
	float bf = modf( vuf * ShiftRight8, vuf );
	float gf = modf( vuf * ShiftRight8, vuf );
	return vec4( vuf * Inv255, gf * PackUpscale, bf * PackUpscale, af );
}
vec3 packDepthToRGB( const in float v ) {
	if( v <= 0.0 )
		return vec3( 0., 0., 0. );
	if( v >= 1.0 )
		return vec3( 1., 1., 1. );
	float vuf;
	float bf = modf( v * PackFactors.b, vuf );
	float gf = modf( vuf * ShiftRight8, vuf );
	return vec3( vuf * Inv255, gf * PackUpscale, bf );
}
vec2 packDepthToRG( const in float v ) {
	if( v <= 0.0 )
		return vec2( 0., 0. );
	if( v >= 1.0 )
		return vec2( 1., 1. );
	float vuf;
	float gf = modf( v * 256., vuf );
	return vec2( vuf * Inv255, gf );
}
float unpackRGBAToDepth( const in vec4 v ) {
	return dot( v, UnpackFactors4 );
}
float unpackRGBToDepth( const in vec3 v ) {
	return dot( v, UnpackFactors3 );
}
float unpackRGToDepth( const in vec2 v ) {
	return v.r * UnpackFactors2.r + v.g * UnpackFactors2.g;
}
vec4 pack2HalfToRGBA( const in vec2 v ) {
	vec4 r = vec4( v.x, fract( v.x * 255.0 ), v.y, fract( v.y * 255.0 ) );
	return vec4( r.x - r.y / 255.0, r.y, r.z - r.w / 255.0, r.w );
}
vec2 unpackRGBATo2Half( const in vec4 v ) {
	return vec2( v.x + ( v.y / 255.0 ), v.z + ( v.w / 255.0 ) );
}
float viewZToOrthographicDepth( const in float viewZ, const in float near, const in float far ) {
	return ( viewZ + near ) / ( near - far );
}
float orthographicDepthToViewZ( const in float depth, const in float near, const in float far ) {
	#ifdef USE_REVERSED_DEPTH_BUFFER
	
		return depth * ( far - near ) - far;
	#else
		return depth * ( near - far ) - near;
	#endif
}
float viewZToPerspectiveDepth( const in float viewZ, const in float near, const in float far ) {
	return ( ( near + viewZ ) * far ) / ( ( far - near ) * viewZ );
}
float perspectiveDepthToViewZ( const in float depth, const in float near, const in float far ) {
	
	#ifdef USE_REVERSED_DEPTH_BUFFER
		return ( near * far ) / ( ( near - far ) * depth - near );
	#else
		return ( near * far ) / ( ( far - near ) * depth - far );
	#endif
}`,AM=`#ifdef PREMULTIPLIED_ALPHA
	gl_FragColor.rgb *= gl_FragColor.a;
#endif`,EM=`vec4 mvPosition = vec4( transformed, 1.0 );
#ifdef USE_BATCHING
	mvPosition = batchingMatrix * mvPosition;
#endif
#ifdef USE_INSTANCING
	mvPosition = instanceMatrix * mvPosition;
#endif
mvPosition = modelViewMatrix * mvPosition;
gl_Position = projectionMatrix * mvPosition;`,TM=`#ifdef DITHERING
	gl_FragColor.rgb = dithering( gl_FragColor.rgb );
#endif`,CM=`#ifdef DITHERING
	vec3 dithering( vec3 color ) {
		float grid_position = rand( gl_FragCoord.xy );
		vec3 dither_shift_RGB = vec3( 0.25 / 255.0, -0.25 / 255.0, 0.25 / 255.0 );
		dither_shift_RGB = mix( 2.0 * dither_shift_RGB, -2.0 * dither_shift_RGB, grid_position );
		return color + dither_shift_RGB;
	}
#endif`,RM=`float roughnessFactor = roughness;
#ifdef USE_ROUGHNESSMAP
	vec4 texelRoughness = texture2D( roughnessMap, vRoughnessMapUv );
	roughnessFactor *= texelRoughness.g;
#endif`,PM=`#ifdef USE_ROUGHNESSMAP
	uniform sampler2D roughnessMap;
#endif`,IM=`#if NUM_SPOT_LIGHT_COORDS > 0
	varying vec4 vSpotLightCoord[ NUM_SPOT_LIGHT_COORDS ];
#endif
#if NUM_SPOT_LIGHT_MAPS > 0
	uniform sampler2D spotLightMap[ NUM_SPOT_LIGHT_MAPS ];
#endif
#ifdef USE_SHADOWMAP
	#if NUM_SUN_LIGHT_SHADOWS > 0
		#define SUN_LIGHT_CASCADES 2
		#if defined( SHADOWMAP_TYPE_PCF )
			uniform sampler2DShadow sunShadowMap[ NUM_SUN_LIGHT_SHADOWS ];
		#else
			uniform sampler2D sunShadowMap[ NUM_SUN_LIGHT_SHADOWS ];
		#endif
		uniform mat4 sunShadowMatrix[ NUM_SUN_LIGHT_SHADOWS * SUN_LIGHT_CASCADES ];
		uniform vec4 sunShadowCascade[ NUM_SUN_LIGHT_SHADOWS * SUN_LIGHT_CASCADES ];
		varying vec4 vSunShadowWorldPosition;
		varying vec3 vSunShadowWorldNormal;
		struct SunLightShadow {
			float shadowIntensity;
			float shadowBias;
			float shadowNormalBias;
			float shadowRadius;
			vec2 shadowMapSize;
		};
		uniform SunLightShadow sunLightShadows[ NUM_SUN_LIGHT_SHADOWS ];
	#endif
	#if NUM_DIR_LIGHT_SHADOWS > 0
		#if defined( SHADOWMAP_TYPE_PCF )
			uniform sampler2DShadow directionalShadowMap[ NUM_DIR_LIGHT_SHADOWS ];
		#else
			uniform sampler2D directionalShadowMap[ NUM_DIR_LIGHT_SHADOWS ];
		#endif
		varying vec4 vDirectionalShadowCoord[ NUM_DIR_LIGHT_SHADOWS ];
		struct DirectionalLightShadow {
			float shadowIntensity;
			float shadowBias;
			float shadowNormalBias;
			float shadowRadius;
			vec2 shadowMapSize;
		};
		uniform DirectionalLightShadow directionalLightShadows[ NUM_DIR_LIGHT_SHADOWS ];
	#endif
	#if NUM_SPOT_LIGHT_SHADOWS > 0
		#if defined( SHADOWMAP_TYPE_PCF )
			uniform sampler2DShadow spotShadowMap[ NUM_SPOT_LIGHT_SHADOWS ];
		#else
			uniform sampler2D spotShadowMap[ NUM_SPOT_LIGHT_SHADOWS ];
		#endif
		struct SpotLightShadow {
			float shadowIntensity;
			float shadowBias;
			float shadowNormalBias;
			float shadowRadius;
			vec2 shadowMapSize;
		};
		uniform SpotLightShadow spotLightShadows[ NUM_SPOT_LIGHT_SHADOWS ];
	#endif
	#if NUM_POINT_LIGHT_SHADOWS > 0
		#if defined( SHADOWMAP_TYPE_PCF )
			uniform samplerCubeShadow pointShadowMap[ NUM_POINT_LIGHT_SHADOWS ];
		#elif defined( SHADOWMAP_TYPE_BASIC )
			uniform samplerCube pointShadowMap[ NUM_POINT_LIGHT_SHADOWS ];
		#endif
		varying vec4 vPointShadowCoord[ NUM_POINT_LIGHT_SHADOWS ];
		struct PointLightShadow {
			float shadowIntensity;
			float shadowBias;
			float shadowNormalBias;
			float shadowRadius;
			vec2 shadowMapSize;
			float shadowCameraNear;
			float shadowCameraFar;
		};
		uniform PointLightShadow pointLightShadows[ NUM_POINT_LIGHT_SHADOWS ];
	#endif
	#if defined( SHADOWMAP_TYPE_PCF )
		float interleavedGradientNoise( vec2 position ) {
			return fract( 52.9829189 * fract( dot( position, vec2( 0.06711056, 0.00583715 ) ) ) );
		}
		vec2 vogelDiskSample( int sampleIndex, int samplesCount, float phi ) {
			const float goldenAngle = 2.399963229728653;
			float r = sqrt( ( float( sampleIndex ) + 0.5 ) / float( samplesCount ) );
			float theta = float( sampleIndex ) * goldenAngle + phi;
			return vec2( cos( theta ), sin( theta ) ) * r;
		}
	#endif
	#if defined( SHADOWMAP_TYPE_PCF )
		float getShadow( sampler2DShadow shadowMap, vec2 shadowMapSize, float shadowIntensity, float shadowBias, float shadowRadius, vec4 shadowCoord ) {
			float shadow = 1.0;
			shadowCoord.xyz /= shadowCoord.w;
			#ifdef USE_REVERSED_DEPTH_BUFFER
				shadowCoord.z -= shadowBias;
			#else
				shadowCoord.z += shadowBias;
			#endif
			bool inFrustum = shadowCoord.x >= 0.0 && shadowCoord.x <= 1.0 && shadowCoord.y >= 0.0 && shadowCoord.y <= 1.0;
			bool frustumTest = inFrustum && shadowCoord.z <= 1.0;
			if ( frustumTest ) {
				vec2 texelSize = vec2( 1.0 ) / shadowMapSize;
				vec2 radius = shadowRadius * texelSize;
				float phi = interleavedGradientNoise( gl_FragCoord.xy ) * PI2;
				shadow = (
					texture( shadowMap, vec3( shadowCoord.xy + vogelDiskSample( 0, 5, phi ) * radius, shadowCoord.z ) ) +
					texture( shadowMap, vec3( shadowCoord.xy + vogelDiskSample( 1, 5, phi ) * radius, shadowCoord.z ) ) +
					texture( shadowMap, vec3( shadowCoord.xy + vogelDiskSample( 2, 5, phi ) * radius, shadowCoord.z ) ) +
					texture( shadowMap, vec3( shadowCoord.xy + vogelDiskSample( 3, 5, phi ) * radius, shadowCoord.z ) ) +
					texture( shadowMap, vec3( shadowCoord.xy + vogelDiskSample( 4, 5, phi ) * radius, shadowCoord.z ) )
				) * 0.2;
			}
			return mix( 1.0, shadow, shadowIntensity );
		}
	#elif defined( SHADOWMAP_TYPE_VSM )
		float getShadow( sampler2D shadowMap, vec2 shadowMapSize, float shadowIntensity, float shadowBias, float shadowRadius, vec4 shadowCoord ) {
			float shadow = 1.0;
			shadowCoord.xyz /= shadowCoord.w;
			#ifdef USE_REVERSED_DEPTH_BUFFER
				shadowCoord.z -= shadowBias;
			#else
				shadowCoord.z += shadowBias;
			#endif
			bool inFrustum = shadowCoord.x >= 0.0 && shadowCoord.x <= 1.0 && shadowCoord.y >= 0.0 && shadowCoord.y <= 1.0;
			bool frustumTest = inFrustum && shadowCoord.z <= 1.0;
			if ( frustumTest ) {
				vec2 distribution = texture2D( shadowMap, shadowCoord.xy ).rg;
				float mean = distribution.x;
				float variance = distribution.y * distribution.y;
				#ifdef USE_REVERSED_DEPTH_BUFFER
					float hard_shadow = step( mean, shadowCoord.z );
				#else
					float hard_shadow = step( shadowCoord.z, mean );
				#endif
				
				if ( hard_shadow == 1.0 ) {
					shadow = 1.0;
				} else {
					variance = max( variance, 0.0000001 );
					float d = shadowCoord.z - mean;
					float p_max = variance / ( variance + d * d );
					p_max = clamp( ( p_max - 0.3 ) / 0.65, 0.0, 1.0 );
					shadow = max( hard_shadow, p_max );
				}
			}
			return mix( 1.0, shadow, shadowIntensity );
		}
	#else
		float getShadow( sampler2D shadowMap, vec2 shadowMapSize, float shadowIntensity, float shadowBias, float shadowRadius, vec4 shadowCoord ) {
			float shadow = 1.0;
			shadowCoord.xyz /= shadowCoord.w;
			#ifdef USE_REVERSED_DEPTH_BUFFER
				shadowCoord.z -= shadowBias;
			#else
				shadowCoord.z += shadowBias;
			#endif
			bool inFrustum = shadowCoord.x >= 0.0 && shadowCoord.x <= 1.0 && shadowCoord.y >= 0.0 && shadowCoord.y <= 1.0;
			bool frustumTest = inFrustum && shadowCoord.z <= 1.0;
			if ( frustumTest ) {
				float depth = texture2D( shadowMap, shadowCoord.xy ).r;
				#ifdef USE_REVERSED_DEPTH_BUFFER
					shadow = step( depth, shadowCoord.z );
				#else
					shadow = step( shadowCoord.z, depth );
				#endif
			}
			return mix( 1.0, shadow, shadowIntensity );
		}
	#endif
	#if NUM_SUN_LIGHT_SHADOWS > 0
		float getSunShadow(
			#if defined( SHADOWMAP_TYPE_PCF )
				sampler2DShadow shadowMap,
			#else
				sampler2D shadowMap,
			#endif
			SunLightShadow sunLightShadow,
			int shadowIndex
		) {
			vec4 shadowWorldPosition = vec4( vSunShadowWorldPosition.xyz + vSunShadowWorldNormal * sunLightShadow.shadowNormalBias, 1.0 );
			float viewDepth = vSunShadowWorldPosition.w;
			int cascadeOffset = shadowIndex * SUN_LIGHT_CASCADES;
			float shadow = 1.0;
			for ( int i = SUN_LIGHT_CASCADES - 1; i >= 0; i -- ) {
				vec4 cascade = sunShadowCascade[ cascadeOffset + i ];
				if ( viewDepth >= cascade.x && viewDepth < cascade.y ) {
					float cascadeShadow = getShadow(
						shadowMap,
						sunLightShadow.shadowMapSize,
						sunLightShadow.shadowIntensity,
						sunLightShadow.shadowBias,
						sunLightShadow.shadowRadius,
						sunShadowMatrix[ cascadeOffset + i ] * shadowWorldPosition
					);
					shadow = mix( cascadeShadow, shadow, smoothstep( cascade.z, cascade.y, viewDepth ) );
				}
			}
			return shadow;
		}
	#endif
	#if NUM_POINT_LIGHT_SHADOWS > 0
	#if defined( SHADOWMAP_TYPE_PCF )
	float getPointShadow( samplerCubeShadow shadowMap, vec2 shadowMapSize, float shadowIntensity, float shadowBias, float shadowRadius, vec4 shadowCoord, float shadowCameraNear, float shadowCameraFar ) {
		float shadow = 1.0;
		vec3 lightToPosition = shadowCoord.xyz;
		vec3 bd3D = normalize( lightToPosition );
		vec3 absVec = abs( lightToPosition );
		float viewSpaceZ = max( max( absVec.x, absVec.y ), absVec.z );
		if ( viewSpaceZ - shadowCameraFar <= 0.0 && viewSpaceZ - shadowCameraNear >= 0.0 ) {
			float lightDistance = length( lightToPosition );
			float depthRange = shadowCameraFar - shadowCameraNear;
			#ifdef USE_REVERSED_DEPTH_BUFFER
				float depthA = - shadowCameraNear / depthRange - shadowBias;
				float depthB = shadowCameraNear * shadowCameraFar / ( depthRange * lightDistance );
			#else
				float depthA = shadowCameraFar / depthRange + shadowBias;
				float depthB = - shadowCameraNear * shadowCameraFar / ( depthRange * lightDistance );
			#endif
			float texelSize = shadowRadius / shadowMapSize.x;
			vec3 absDir = abs( bd3D );
			vec3 tangent = absDir.x > absDir.z ? vec3( 0.0, 1.0, 0.0 ) : vec3( 1.0, 0.0, 0.0 );
			tangent = normalize( cross( bd3D, tangent ) );
			vec3 bitangent = cross( bd3D, tangent );
			float phi = interleavedGradientNoise( gl_FragCoord.xy ) * PI2;
			shadow = 0.0;
			for ( int i = 0; i < 5; i ++ ) {
				vec2 offset = vogelDiskSample( i, 5, phi );
				vec3 direction = bd3D + ( tangent * offset.x + bitangent * offset.y ) * texelSize;
				vec3 absDirection = abs( direction );
				float dp = depthA + depthB / max( max( absDirection.x, absDirection.y ), absDirection.z );
				shadow += texture( shadowMap, vec4( direction, dp ) );
			}
			shadow *= 0.2;
		}
		return mix( 1.0, shadow, shadowIntensity );
	}
	#elif defined( SHADOWMAP_TYPE_BASIC )
	float getPointShadow( samplerCube shadowMap, vec2 shadowMapSize, float shadowIntensity, float shadowBias, float shadowRadius, vec4 shadowCoord, float shadowCameraNear, float shadowCameraFar ) {
		float shadow = 1.0;
		vec3 lightToPosition = shadowCoord.xyz;
		vec3 absVec = abs( lightToPosition );
		float viewSpaceZ = max( max( absVec.x, absVec.y ), absVec.z );
		if ( viewSpaceZ - shadowCameraFar <= 0.0 && viewSpaceZ - shadowCameraNear >= 0.0 ) {
			float dp = ( shadowCameraFar * ( viewSpaceZ - shadowCameraNear ) ) / ( viewSpaceZ * ( shadowCameraFar - shadowCameraNear ) );
			dp += shadowBias;
			vec3 bd3D = normalize( lightToPosition );
			float depth = textureCube( shadowMap, bd3D ).r;
			#ifdef USE_REVERSED_DEPTH_BUFFER
				depth = 1.0 - depth;
			#endif
			shadow = step( dp, depth );
		}
		return mix( 1.0, shadow, shadowIntensity );
	}
	#endif
	#endif
#endif`,LM=`#if NUM_SPOT_LIGHT_COORDS > 0
	uniform mat4 spotLightMatrix[ NUM_SPOT_LIGHT_COORDS ];
	varying vec4 vSpotLightCoord[ NUM_SPOT_LIGHT_COORDS ];
#endif
#ifdef USE_SHADOWMAP
	#if NUM_SUN_LIGHT_SHADOWS > 0
		varying vec4 vSunShadowWorldPosition;
		varying vec3 vSunShadowWorldNormal;
	#endif
	#if NUM_DIR_LIGHT_SHADOWS > 0
		uniform mat4 directionalShadowMatrix[ NUM_DIR_LIGHT_SHADOWS ];
		varying vec4 vDirectionalShadowCoord[ NUM_DIR_LIGHT_SHADOWS ];
		struct DirectionalLightShadow {
			float shadowIntensity;
			float shadowBias;
			float shadowNormalBias;
			float shadowRadius;
			vec2 shadowMapSize;
		};
		uniform DirectionalLightShadow directionalLightShadows[ NUM_DIR_LIGHT_SHADOWS ];
	#endif
	#if NUM_SPOT_LIGHT_SHADOWS > 0
		struct SpotLightShadow {
			float shadowIntensity;
			float shadowBias;
			float shadowNormalBias;
			float shadowRadius;
			vec2 shadowMapSize;
		};
		uniform SpotLightShadow spotLightShadows[ NUM_SPOT_LIGHT_SHADOWS ];
	#endif
	#if NUM_POINT_LIGHT_SHADOWS > 0
		uniform mat4 pointShadowMatrix[ NUM_POINT_LIGHT_SHADOWS ];
		varying vec4 vPointShadowCoord[ NUM_POINT_LIGHT_SHADOWS ];
		struct PointLightShadow {
			float shadowIntensity;
			float shadowBias;
			float shadowNormalBias;
			float shadowRadius;
			vec2 shadowMapSize;
			float shadowCameraNear;
			float shadowCameraFar;
		};
		uniform PointLightShadow pointLightShadows[ NUM_POINT_LIGHT_SHADOWS ];
	#endif
#endif`,DM=`#if ( defined( USE_SHADOWMAP ) && ( NUM_DIR_LIGHT_SHADOWS > 0 || NUM_SUN_LIGHT_SHADOWS > 0 || NUM_POINT_LIGHT_SHADOWS > 0 ) ) || ( NUM_SPOT_LIGHT_COORDS > 0 )
	#ifdef HAS_NORMAL
		vec3 shadowWorldNormal = transformNormalByInverseViewMatrix( transformedNormal, viewMatrix );
	#else
		vec3 shadowWorldNormal = vec3( 0.0 );
	#endif
	vec4 shadowWorldPosition;
#endif
#if defined( USE_SHADOWMAP )
	#if NUM_SUN_LIGHT_SHADOWS > 0
		vSunShadowWorldPosition = vec4( worldPosition.xyz, - mvPosition.z );
		vSunShadowWorldNormal = shadowWorldNormal;
	#endif
	#if NUM_DIR_LIGHT_SHADOWS > 0
		#pragma unroll_loop_start
		for ( int i = 0; i < NUM_DIR_LIGHT_SHADOWS; i ++ ) {
			shadowWorldPosition = worldPosition + vec4( shadowWorldNormal * directionalLightShadows[ i ].shadowNormalBias, 0 );
			vDirectionalShadowCoord[ i ] = directionalShadowMatrix[ i ] * shadowWorldPosition;
		}
		#pragma unroll_loop_end
	#endif
	#if NUM_POINT_LIGHT_SHADOWS > 0
		#pragma unroll_loop_start
		for ( int i = 0; i < NUM_POINT_LIGHT_SHADOWS; i ++ ) {
			shadowWorldPosition = worldPosition + vec4( shadowWorldNormal * pointLightShadows[ i ].shadowNormalBias, 0 );
			vPointShadowCoord[ i ] = pointShadowMatrix[ i ] * shadowWorldPosition;
		}
		#pragma unroll_loop_end
	#endif
#endif
#if NUM_SPOT_LIGHT_COORDS > 0
	#pragma unroll_loop_start
	for ( int i = 0; i < NUM_SPOT_LIGHT_COORDS; i ++ ) {
		shadowWorldPosition = worldPosition;
		#if ( defined( USE_SHADOWMAP ) && UNROLLED_LOOP_INDEX < NUM_SPOT_LIGHT_SHADOWS )
			shadowWorldPosition.xyz += shadowWorldNormal * spotLightShadows[ i ].shadowNormalBias;
		#endif
		vSpotLightCoord[ i ] = spotLightMatrix[ i ] * shadowWorldPosition;
	}
	#pragma unroll_loop_end
#endif`,NM=`float getShadowMask() {
	float shadow = 1.0;
	#ifdef USE_SHADOWMAP
	#if NUM_SUN_LIGHT_SHADOWS > 0
	SunLightShadow sunLight;
	#pragma unroll_loop_start
	for ( int i = 0; i < NUM_SUN_LIGHT_SHADOWS; i ++ ) {
		sunLight = sunLightShadows[ i ];
		shadow *= receiveShadow ? getSunShadow( sunShadowMap[ i ], sunLight, UNROLLED_LOOP_INDEX ) : 1.0;
	}
	#pragma unroll_loop_end
	#endif
	#if NUM_DIR_LIGHT_SHADOWS > 0
	DirectionalLightShadow directionalLight;
	#pragma unroll_loop_start
	for ( int i = 0; i < NUM_DIR_LIGHT_SHADOWS; i ++ ) {
		directionalLight = directionalLightShadows[ i ];
		shadow *= receiveShadow ? getShadow( directionalShadowMap[ i ], directionalLight.shadowMapSize, directionalLight.shadowIntensity, directionalLight.shadowBias, directionalLight.shadowRadius, vDirectionalShadowCoord[ i ] ) : 1.0;
	}
	#pragma unroll_loop_end
	#endif
	#if NUM_SPOT_LIGHT_SHADOWS > 0
	SpotLightShadow spotLight;
	#pragma unroll_loop_start
	for ( int i = 0; i < NUM_SPOT_LIGHT_SHADOWS; i ++ ) {
		spotLight = spotLightShadows[ i ];
		shadow *= receiveShadow ? getShadow( spotShadowMap[ i ], spotLight.shadowMapSize, spotLight.shadowIntensity, spotLight.shadowBias, spotLight.shadowRadius, vSpotLightCoord[ i ] ) : 1.0;
	}
	#pragma unroll_loop_end
	#endif
	#if NUM_POINT_LIGHT_SHADOWS > 0 && ( defined( SHADOWMAP_TYPE_PCF ) || defined( SHADOWMAP_TYPE_BASIC ) )
	PointLightShadow pointLight;
	#pragma unroll_loop_start
	for ( int i = 0; i < NUM_POINT_LIGHT_SHADOWS; i ++ ) {
		pointLight = pointLightShadows[ i ];
		shadow *= receiveShadow ? getPointShadow( pointShadowMap[ i ], pointLight.shadowMapSize, pointLight.shadowIntensity, pointLight.shadowBias, pointLight.shadowRadius, vPointShadowCoord[ i ], pointLight.shadowCameraNear, pointLight.shadowCameraFar ) : 1.0;
	}
	#pragma unroll_loop_end
	#endif
	#endif
	return shadow;
}`,UM=`#ifdef USE_SKINNING
	mat4 boneMatX = getBoneMatrix( skinIndex.x );
	mat4 boneMatY = getBoneMatrix( skinIndex.y );
	mat4 boneMatZ = getBoneMatrix( skinIndex.z );
	mat4 boneMatW = getBoneMatrix( skinIndex.w );
#endif`,FM=`#ifdef USE_SKINNING
	uniform mat4 bindMatrix;
	uniform mat4 bindMatrixInverse;
	uniform highp sampler2D boneTexture;
	mat4 getBoneMatrix( const in float i ) {
		int size = textureSize( boneTexture, 0 ).x;
		int j = int( i ) * 4;
		int x = j % size;
		int y = j / size;
		vec4 v1 = texelFetch( boneTexture, ivec2( x, y ), 0 );
		vec4 v2 = texelFetch( boneTexture, ivec2( x + 1, y ), 0 );
		vec4 v3 = texelFetch( boneTexture, ivec2( x + 2, y ), 0 );
		vec4 v4 = texelFetch( boneTexture, ivec2( x + 3, y ), 0 );
		return mat4( v1, v2, v3, v4 );
	}
#endif`,OM=`#ifdef USE_SKINNING
	vec4 skinVertex = bindMatrix * vec4( transformed, 1.0 );
	vec4 skinned = vec4( 0.0 );
	skinned += boneMatX * skinVertex * skinWeight.x;
	skinned += boneMatY * skinVertex * skinWeight.y;
	skinned += boneMatZ * skinVertex * skinWeight.z;
	skinned += boneMatW * skinVertex * skinWeight.w;
	transformed = ( bindMatrixInverse * skinned ).xyz;
#endif`,BM=`#ifdef USE_SKINNING
	mat4 skinMatrix = mat4( 0.0 );
	skinMatrix += skinWeight.x * boneMatX;
	skinMatrix += skinWeight.y * boneMatY;
	skinMatrix += skinWeight.z * boneMatZ;
	skinMatrix += skinWeight.w * boneMatW;
	skinMatrix = bindMatrixInverse * skinMatrix * bindMatrix;
	objectNormal = vec4( skinMatrix * vec4( objectNormal, 0.0 ) ).xyz;
	#ifdef USE_TANGENT
		objectTangent = vec4( skinMatrix * vec4( objectTangent, 0.0 ) ).xyz;
	#endif
#endif`,kM=`float specularStrength;
#ifdef USE_SPECULARMAP
	vec4 texelSpecular = texture2D( specularMap, vSpecularMapUv );
	specularStrength = texelSpecular.r;
#else
	specularStrength = 1.0;
#endif`,zM=`#ifdef USE_SPECULARMAP
	uniform sampler2D specularMap;
#endif`,VM=`#if defined( TONE_MAPPING )
	gl_FragColor.rgb = toneMapping( gl_FragColor.rgb );
#endif`,GM=`#ifndef saturate
#define saturate( a ) clamp( a, 0.0, 1.0 )
#endif
uniform float toneMappingExposure;
vec3 LinearToneMapping( vec3 color ) {
	return saturate( toneMappingExposure * color );
}
vec3 ReinhardToneMapping( vec3 color ) {
	color *= toneMappingExposure;
	return saturate( color / ( vec3( 1.0 ) + color ) );
}
vec3 CineonToneMapping( vec3 color ) {
	color *= toneMappingExposure;
	color = max( vec3( 0.0 ), color - 0.004 );
	return pow( ( color * ( 6.2 * color + 0.5 ) ) / ( color * ( 6.2 * color + 1.7 ) + 0.06 ), vec3( 2.2 ) );
}
vec3 RRTAndODTFit( vec3 v ) {
	vec3 a = v * ( v + 0.0245786 ) - 0.000090537;
	vec3 b = v * ( 0.983729 * v + 0.4329510 ) + 0.238081;
	return a / b;
}
vec3 ACESFilmicToneMapping( vec3 color ) {
	const mat3 ACESInputMat = mat3(
		vec3( 0.59719, 0.07600, 0.02840 ),		vec3( 0.35458, 0.90834, 0.13383 ),
		vec3( 0.04823, 0.01566, 0.83777 )
	);
	const mat3 ACESOutputMat = mat3(
		vec3(  1.60475, -0.10208, -0.00327 ),		vec3( -0.53108,  1.10813, -0.07276 ),
		vec3( -0.07367, -0.00605,  1.07602 )
	);
	color *= toneMappingExposure / 0.6;
	color = ACESInputMat * color;
	color = RRTAndODTFit( color );
	color = ACESOutputMat * color;
	return saturate( color );
}
const mat3 LINEAR_REC2020_TO_LINEAR_SRGB = mat3(
	vec3( 1.6605, - 0.1246, - 0.0182 ),
	vec3( - 0.5876, 1.1329, - 0.1006 ),
	vec3( - 0.0728, - 0.0083, 1.1187 )
);
const mat3 LINEAR_SRGB_TO_LINEAR_REC2020 = mat3(
	vec3( 0.6274, 0.0691, 0.0164 ),
	vec3( 0.3293, 0.9195, 0.0880 ),
	vec3( 0.0433, 0.0113, 0.8956 )
);
vec3 agxDefaultContrastApprox( vec3 x ) {
	vec3 x2 = x * x;
	vec3 x4 = x2 * x2;
	return + 15.5 * x4 * x2
		- 40.14 * x4 * x
		+ 31.96 * x4
		- 6.868 * x2 * x
		+ 0.4298 * x2
		+ 0.1191 * x
		- 0.00232;
}
vec3 AgXToneMapping( vec3 color ) {
	const mat3 AgXInsetMatrix = mat3(
		vec3( 0.856627153315983, 0.137318972929847, 0.11189821299995 ),
		vec3( 0.0951212405381588, 0.761241990602591, 0.0767994186031903 ),
		vec3( 0.0482516061458583, 0.101439036467562, 0.811302368396859 )
	);
	const mat3 AgXOutsetMatrix = mat3(
		vec3( 1.1271005818144368, - 0.1413297634984383, - 0.14132976349843826 ),
		vec3( - 0.11060664309660323, 1.157823702216272, - 0.11060664309660294 ),
		vec3( - 0.016493938717834573, - 0.016493938717834257, 1.2519364065950405 )
	);
	const float AgxMinEv = - 12.47393;	const float AgxMaxEv = 4.026069;
	color *= toneMappingExposure;
	color = LINEAR_SRGB_TO_LINEAR_REC2020 * color;
	color = AgXInsetMatrix * color;
	color = max( color, 1e-10 );	color = log2( color );
	color = ( color - AgxMinEv ) / ( AgxMaxEv - AgxMinEv );
	color = clamp( color, 0.0, 1.0 );
	color = agxDefaultContrastApprox( color );
	color = AgXOutsetMatrix * color;
	color = pow( max( vec3( 0.0 ), color ), vec3( 2.2 ) );
	color = LINEAR_REC2020_TO_LINEAR_SRGB * color;
	color = clamp( color, 0.0, 1.0 );
	return color;
}
vec3 NeutralToneMapping( vec3 color ) {
	const float StartCompression = 0.8 - 0.04;
	const float Desaturation = 0.15;
	color *= toneMappingExposure;
	float x = min( color.r, min( color.g, color.b ) );
	float offset = x < 0.08 ? x - 6.25 * x * x : 0.04;
	color -= offset;
	float peak = max( color.r, max( color.g, color.b ) );
	if ( peak < StartCompression ) return color;
	float d = 1. - StartCompression;
	float newPeak = 1. - d * d / ( peak + d - StartCompression );
	color *= newPeak / peak;
	float g = 1. - 1. / ( Desaturation * ( peak - newPeak ) + 1. );
	return mix( color, vec3( newPeak ), g );
}
vec3 CustomToneMapping( vec3 color ) { return color; }`,HM=`#ifdef USE_TRANSMISSION
	material.transmission = transmission;
	material.transmissionAlpha = 1.0;
	material.thickness = thickness;
	material.attenuationDistance = attenuationDistance;
	material.attenuationColor = attenuationColor;
	#ifdef USE_TRANSMISSIONMAP
		material.transmission *= texture2D( transmissionMap, vTransmissionMapUv ).r;
	#endif
	#ifdef USE_THICKNESSMAP
		material.thickness *= texture2D( thicknessMap, vThicknessMapUv ).g;
	#endif
	vec3 pos = vWorldPosition;
	vec3 v = normalize( cameraPosition - pos );
	vec3 n = transformNormalByInverseViewMatrix( normal, viewMatrix );
	vec4 transmitted = getIBLVolumeRefraction(
		n, v, material.roughness, material.diffuseContribution, material.specularColorBlended, material.specularF90,
		pos, modelMatrix, viewMatrix, projectionMatrix, material.dispersion, material.ior, material.thickness,
		material.attenuationColor, material.attenuationDistance );
	material.transmissionAlpha = mix( material.transmissionAlpha, transmitted.a, material.transmission );
	totalDiffuse = mix( totalDiffuse, transmitted.rgb, material.transmission );
#endif`,WM=`#ifdef USE_TRANSMISSION
	uniform float transmission;
	uniform float thickness;
	uniform float attenuationDistance;
	uniform vec3 attenuationColor;
	#ifdef USE_TRANSMISSIONMAP
		uniform sampler2D transmissionMap;
	#endif
	#ifdef USE_THICKNESSMAP
		uniform sampler2D thicknessMap;
	#endif
	uniform vec2 transmissionSamplerSize;
	uniform sampler2D transmissionSamplerMap;
	uniform mat4 modelMatrix;
	uniform mat4 projectionMatrix;
	varying vec3 vWorldPosition;
	float w0( float a ) {
		return ( 1.0 / 6.0 ) * ( a * ( a * ( - a + 3.0 ) - 3.0 ) + 1.0 );
	}
	float w1( float a ) {
		return ( 1.0 / 6.0 ) * ( a *  a * ( 3.0 * a - 6.0 ) + 4.0 );
	}
	float w2( float a ){
		return ( 1.0 / 6.0 ) * ( a * ( a * ( - 3.0 * a + 3.0 ) + 3.0 ) + 1.0 );
	}
	float w3( float a ) {
		return ( 1.0 / 6.0 ) * ( a * a * a );
	}
	float g0( float a ) {
		return w0( a ) + w1( a );
	}
	float g1( float a ) {
		return w2( a ) + w3( a );
	}
	float h0( float a ) {
		return - 1.0 + w1( a ) / ( w0( a ) + w1( a ) );
	}
	float h1( float a ) {
		return 1.0 + w3( a ) / ( w2( a ) + w3( a ) );
	}
	vec4 bicubic( sampler2D tex, vec2 uv, vec4 texelSize, float lod ) {
		uv = uv * texelSize.zw + 0.5;
		vec2 iuv = floor( uv );
		vec2 fuv = fract( uv );
		float g0x = g0( fuv.x );
		float g1x = g1( fuv.x );
		float h0x = h0( fuv.x );
		float h1x = h1( fuv.x );
		float h0y = h0( fuv.y );
		float h1y = h1( fuv.y );
		vec2 p0 = ( vec2( iuv.x + h0x, iuv.y + h0y ) - 0.5 ) * texelSize.xy;
		vec2 p1 = ( vec2( iuv.x + h1x, iuv.y + h0y ) - 0.5 ) * texelSize.xy;
		vec2 p2 = ( vec2( iuv.x + h0x, iuv.y + h1y ) - 0.5 ) * texelSize.xy;
		vec2 p3 = ( vec2( iuv.x + h1x, iuv.y + h1y ) - 0.5 ) * texelSize.xy;
		return g0( fuv.y ) * ( g0x * textureLod( tex, p0, lod ) + g1x * textureLod( tex, p1, lod ) ) +
			g1( fuv.y ) * ( g0x * textureLod( tex, p2, lod ) + g1x * textureLod( tex, p3, lod ) );
	}
	vec4 textureBicubic( sampler2D sampler, vec2 uv, float lod ) {
		vec2 fLodSize = vec2( textureSize( sampler, int( lod ) ) );
		vec2 cLodSize = vec2( textureSize( sampler, int( lod + 1.0 ) ) );
		vec2 fLodSizeInv = 1.0 / fLodSize;
		vec2 cLodSizeInv = 1.0 / cLodSize;
		vec4 fSample = bicubic( sampler, uv, vec4( fLodSizeInv, fLodSize ), floor( lod ) );
		vec4 cSample = bicubic( sampler, uv, vec4( cLodSizeInv, cLodSize ), ceil( lod ) );
		return mix( fSample, cSample, fract( lod ) );
	}
	vec3 getVolumeTransmissionRay( const in vec3 n, const in vec3 v, const in float thickness, const in float ior, const in mat4 modelMatrix ) {
		vec3 refractionVector = refract( - v, normalize( n ), 1.0 / ior );
		vec3 modelScale;
		modelScale.x = length( vec3( modelMatrix[ 0 ].xyz ) );
		modelScale.y = length( vec3( modelMatrix[ 1 ].xyz ) );
		modelScale.z = length( vec3( modelMatrix[ 2 ].xyz ) );
		return normalize( refractionVector ) * thickness * modelScale;
	}
	float applyIorToRoughness( const in float roughness, const in float ior ) {
		return roughness * clamp( ior * 2.0 - 2.0, 0.0, 1.0 );
	}
	vec4 getTransmissionSample( const in vec2 fragCoord, const in float roughness, const in float ior ) {
		float lod = log2( transmissionSamplerSize.x ) * applyIorToRoughness( roughness, ior );
		return textureBicubic( transmissionSamplerMap, fragCoord.xy, lod );
	}
	vec3 volumeAttenuation( const in float transmissionDistance, const in vec3 attenuationColor, const in float attenuationDistance ) {
		if ( isinf( attenuationDistance ) ) {
			return vec3( 1.0 );
		} else {
			vec3 attenuationCoefficient = -log( attenuationColor ) / attenuationDistance;
			vec3 transmittance = exp( - attenuationCoefficient * transmissionDistance );			return transmittance;
		}
	}
	vec4 getIBLVolumeRefraction( const in vec3 n, const in vec3 v, const in float roughness, const in vec3 diffuseColor,
		const in vec3 specularColor, const in float specularF90, const in vec3 position, const in mat4 modelMatrix,
		const in mat4 viewMatrix, const in mat4 projMatrix, const in float dispersion, const in float ior, const in float thickness,
		const in vec3 attenuationColor, const in float attenuationDistance ) {
		vec4 transmittedLight;
		vec3 transmittance;
		#ifdef USE_DISPERSION
			float halfSpread = ( ior - 1.0 ) * 0.025 * dispersion;
			vec3 iors = vec3( ior - halfSpread, ior, ior + halfSpread );
			for ( int i = 0; i < 3; i ++ ) {
				vec3 transmissionRay = getVolumeTransmissionRay( n, v, thickness, iors[ i ], modelMatrix );
				vec3 refractedRayExit = position + transmissionRay;
				vec4 ndcPos = projMatrix * viewMatrix * vec4( refractedRayExit, 1.0 );
				vec2 refractionCoords = ndcPos.xy / ndcPos.w;
				refractionCoords += 1.0;
				refractionCoords /= 2.0;
				vec4 transmissionSample = getTransmissionSample( refractionCoords, roughness, iors[ i ] );
				transmittedLight[ i ] = transmissionSample[ i ];
				transmittedLight.a += transmissionSample.a;
				transmittance[ i ] = diffuseColor[ i ] * volumeAttenuation( length( transmissionRay ), attenuationColor, attenuationDistance )[ i ];
			}
			transmittedLight.a /= 3.0;
		#else
			vec3 transmissionRay = getVolumeTransmissionRay( n, v, thickness, ior, modelMatrix );
			vec3 refractedRayExit = position + transmissionRay;
			vec4 ndcPos = projMatrix * viewMatrix * vec4( refractedRayExit, 1.0 );
			vec2 refractionCoords = ndcPos.xy / ndcPos.w;
			refractionCoords += 1.0;
			refractionCoords /= 2.0;
			transmittedLight = getTransmissionSample( refractionCoords, roughness, ior );
			transmittance = diffuseColor * volumeAttenuation( length( transmissionRay ), attenuationColor, attenuationDistance );
		#endif
		vec3 attenuatedColor = transmittance * transmittedLight.rgb;
		vec3 F = EnvironmentBRDF( n, v, specularColor, specularF90, roughness );
		float transmittanceFactor = ( transmittance.r + transmittance.g + transmittance.b ) / 3.0;
		return vec4( ( 1.0 - F ) * attenuatedColor, 1.0 - ( 1.0 - transmittedLight.a ) * transmittanceFactor );
	}
#endif`,XM=`#if defined( USE_UV ) || defined( USE_ANISOTROPY )
	varying vec2 vUv;
#endif
#ifdef USE_MAP
	varying vec2 vMapUv;
#endif
#ifdef USE_ALPHAMAP
	varying vec2 vAlphaMapUv;
#endif
#ifdef USE_LIGHTMAP
	varying vec2 vLightMapUv;
#endif
#ifdef USE_AOMAP
	varying vec2 vAoMapUv;
#endif
#ifdef USE_BUMPMAP
	varying vec2 vBumpMapUv;
#endif
#ifdef USE_NORMALMAP
	varying vec2 vNormalMapUv;
#endif
#ifdef USE_EMISSIVEMAP
	varying vec2 vEmissiveMapUv;
#endif
#ifdef USE_METALNESSMAP
	varying vec2 vMetalnessMapUv;
#endif
#ifdef USE_ROUGHNESSMAP
	varying vec2 vRoughnessMapUv;
#endif
#ifdef USE_DIFFUSE_ROUGHNESSMAP
	varying vec2 vDiffuseRoughnessMapUv;
#endif
#ifdef USE_ANISOTROPYMAP
	varying vec2 vAnisotropyMapUv;
#endif
#ifdef USE_CLEARCOATMAP
	varying vec2 vClearcoatMapUv;
#endif
#ifdef USE_CLEARCOAT_NORMALMAP
	varying vec2 vClearcoatNormalMapUv;
#endif
#ifdef USE_CLEARCOAT_ROUGHNESSMAP
	varying vec2 vClearcoatRoughnessMapUv;
#endif
#ifdef USE_IRIDESCENCEMAP
	varying vec2 vIridescenceMapUv;
#endif
#ifdef USE_IRIDESCENCE_THICKNESSMAP
	varying vec2 vIridescenceThicknessMapUv;
#endif
#ifdef USE_SHEEN_COLORMAP
	varying vec2 vSheenColorMapUv;
#endif
#ifdef USE_SHEEN_ROUGHNESSMAP
	varying vec2 vSheenRoughnessMapUv;
#endif
#ifdef USE_SPECULARMAP
	varying vec2 vSpecularMapUv;
#endif
#ifdef USE_SPECULAR_COLORMAP
	varying vec2 vSpecularColorMapUv;
#endif
#ifdef USE_SPECULAR_INTENSITYMAP
	varying vec2 vSpecularIntensityMapUv;
#endif
#ifdef USE_TRANSMISSIONMAP
	uniform mat3 transmissionMapTransform;
	varying vec2 vTransmissionMapUv;
#endif
#ifdef USE_THICKNESSMAP
	uniform mat3 thicknessMapTransform;
	varying vec2 vThicknessMapUv;
#endif`,qM=`#if defined( USE_UV ) || defined( USE_ANISOTROPY )
	varying vec2 vUv;
#endif
#ifdef USE_MAP
	uniform mat3 mapTransform;
	varying vec2 vMapUv;
#endif
#ifdef USE_ALPHAMAP
	uniform mat3 alphaMapTransform;
	varying vec2 vAlphaMapUv;
#endif
#ifdef USE_LIGHTMAP
	uniform mat3 lightMapTransform;
	varying vec2 vLightMapUv;
#endif
#ifdef USE_AOMAP
	uniform mat3 aoMapTransform;
	varying vec2 vAoMapUv;
#endif
#ifdef USE_BUMPMAP
	uniform mat3 bumpMapTransform;
	varying vec2 vBumpMapUv;
#endif
#ifdef USE_NORMALMAP
	uniform mat3 normalMapTransform;
	varying vec2 vNormalMapUv;
#endif
#ifdef USE_DISPLACEMENTMAP
	uniform mat3 displacementMapTransform;
	varying vec2 vDisplacementMapUv;
#endif
#ifdef USE_EMISSIVEMAP
	uniform mat3 emissiveMapTransform;
	varying vec2 vEmissiveMapUv;
#endif
#ifdef USE_METALNESSMAP
	uniform mat3 metalnessMapTransform;
	varying vec2 vMetalnessMapUv;
#endif
#ifdef USE_ROUGHNESSMAP
	uniform mat3 roughnessMapTransform;
	varying vec2 vRoughnessMapUv;
#endif
#ifdef USE_DIFFUSE_ROUGHNESSMAP
	uniform mat3 diffuseRoughnessMapTransform;
	varying vec2 vDiffuseRoughnessMapUv;
#endif
#ifdef USE_ANISOTROPYMAP
	uniform mat3 anisotropyMapTransform;
	varying vec2 vAnisotropyMapUv;
#endif
#ifdef USE_CLEARCOATMAP
	uniform mat3 clearcoatMapTransform;
	varying vec2 vClearcoatMapUv;
#endif
#ifdef USE_CLEARCOAT_NORMALMAP
	uniform mat3 clearcoatNormalMapTransform;
	varying vec2 vClearcoatNormalMapUv;
#endif
#ifdef USE_CLEARCOAT_ROUGHNESSMAP
	uniform mat3 clearcoatRoughnessMapTransform;
	varying vec2 vClearcoatRoughnessMapUv;
#endif
#ifdef USE_SHEEN_COLORMAP
	uniform mat3 sheenColorMapTransform;
	varying vec2 vSheenColorMapUv;
#endif
#ifdef USE_SHEEN_ROUGHNESSMAP
	uniform mat3 sheenRoughnessMapTransform;
	varying vec2 vSheenRoughnessMapUv;
#endif
#ifdef USE_IRIDESCENCEMAP
	uniform mat3 iridescenceMapTransform;
	varying vec2 vIridescenceMapUv;
#endif
#ifdef USE_IRIDESCENCE_THICKNESSMAP
	uniform mat3 iridescenceThicknessMapTransform;
	varying vec2 vIridescenceThicknessMapUv;
#endif
#ifdef USE_SPECULARMAP
	uniform mat3 specularMapTransform;
	varying vec2 vSpecularMapUv;
#endif
#ifdef USE_SPECULAR_COLORMAP
	uniform mat3 specularColorMapTransform;
	varying vec2 vSpecularColorMapUv;
#endif
#ifdef USE_SPECULAR_INTENSITYMAP
	uniform mat3 specularIntensityMapTransform;
	varying vec2 vSpecularIntensityMapUv;
#endif
#ifdef USE_TRANSMISSIONMAP
	uniform mat3 transmissionMapTransform;
	varying vec2 vTransmissionMapUv;
#endif
#ifdef USE_THICKNESSMAP
	uniform mat3 thicknessMapTransform;
	varying vec2 vThicknessMapUv;
#endif`,YM=`#if defined( USE_UV ) || defined( USE_ANISOTROPY )
	vUv = vec3( uv, 1 ).xy;
#endif
#ifdef USE_MAP
	vMapUv = ( mapTransform * vec3( MAP_UV, 1 ) ).xy;
#endif
#ifdef USE_ALPHAMAP
	vAlphaMapUv = ( alphaMapTransform * vec3( ALPHAMAP_UV, 1 ) ).xy;
#endif
#ifdef USE_LIGHTMAP
	vLightMapUv = ( lightMapTransform * vec3( LIGHTMAP_UV, 1 ) ).xy;
#endif
#ifdef USE_AOMAP
	vAoMapUv = ( aoMapTransform * vec3( AOMAP_UV, 1 ) ).xy;
#endif
#ifdef USE_BUMPMAP
	vBumpMapUv = ( bumpMapTransform * vec3( BUMPMAP_UV, 1 ) ).xy;
#endif
#ifdef USE_NORMALMAP
	vNormalMapUv = ( normalMapTransform * vec3( NORMALMAP_UV, 1 ) ).xy;
#endif
#ifdef USE_DISPLACEMENTMAP
	vDisplacementMapUv = ( displacementMapTransform * vec3( DISPLACEMENTMAP_UV, 1 ) ).xy;
#endif
#ifdef USE_EMISSIVEMAP
	vEmissiveMapUv = ( emissiveMapTransform * vec3( EMISSIVEMAP_UV, 1 ) ).xy;
#endif
#ifdef USE_METALNESSMAP
	vMetalnessMapUv = ( metalnessMapTransform * vec3( METALNESSMAP_UV, 1 ) ).xy;
#endif
#ifdef USE_ROUGHNESSMAP
	vRoughnessMapUv = ( roughnessMapTransform * vec3( ROUGHNESSMAP_UV, 1 ) ).xy;
#endif
#ifdef USE_DIFFUSE_ROUGHNESSMAP
	vDiffuseRoughnessMapUv = ( diffuseRoughnessMapTransform * vec3( DIFFUSE_ROUGHNESSMAP_UV, 1 ) ).xy;
#endif
#ifdef USE_ANISOTROPYMAP
	vAnisotropyMapUv = ( anisotropyMapTransform * vec3( ANISOTROPYMAP_UV, 1 ) ).xy;
#endif
#ifdef USE_CLEARCOATMAP
	vClearcoatMapUv = ( clearcoatMapTransform * vec3( CLEARCOATMAP_UV, 1 ) ).xy;
#endif
#ifdef USE_CLEARCOAT_NORMALMAP
	vClearcoatNormalMapUv = ( clearcoatNormalMapTransform * vec3( CLEARCOAT_NORMALMAP_UV, 1 ) ).xy;
#endif
#ifdef USE_CLEARCOAT_ROUGHNESSMAP
	vClearcoatRoughnessMapUv = ( clearcoatRoughnessMapTransform * vec3( CLEARCOAT_ROUGHNESSMAP_UV, 1 ) ).xy;
#endif
#ifdef USE_IRIDESCENCEMAP
	vIridescenceMapUv = ( iridescenceMapTransform * vec3( IRIDESCENCEMAP_UV, 1 ) ).xy;
#endif
#ifdef USE_IRIDESCENCE_THICKNESSMAP
	vIridescenceThicknessMapUv = ( iridescenceThicknessMapTransform * vec3( IRIDESCENCE_THICKNESSMAP_UV, 1 ) ).xy;
#endif
#ifdef USE_SHEEN_COLORMAP
	vSheenColorMapUv = ( sheenColorMapTransform * vec3( SHEEN_COLORMAP_UV, 1 ) ).xy;
#endif
#ifdef USE_SHEEN_ROUGHNESSMAP
	vSheenRoughnessMapUv = ( sheenRoughnessMapTransform * vec3( SHEEN_ROUGHNESSMAP_UV, 1 ) ).xy;
#endif
#ifdef USE_SPECULARMAP
	vSpecularMapUv = ( specularMapTransform * vec3( SPECULARMAP_UV, 1 ) ).xy;
#endif
#ifdef USE_SPECULAR_COLORMAP
	vSpecularColorMapUv = ( specularColorMapTransform * vec3( SPECULAR_COLORMAP_UV, 1 ) ).xy;
#endif
#ifdef USE_SPECULAR_INTENSITYMAP
	vSpecularIntensityMapUv = ( specularIntensityMapTransform * vec3( SPECULAR_INTENSITYMAP_UV, 1 ) ).xy;
#endif
#ifdef USE_TRANSMISSIONMAP
	vTransmissionMapUv = ( transmissionMapTransform * vec3( TRANSMISSIONMAP_UV, 1 ) ).xy;
#endif
#ifdef USE_THICKNESSMAP
	vThicknessMapUv = ( thicknessMapTransform * vec3( THICKNESSMAP_UV, 1 ) ).xy;
#endif`,$M=`#if defined( USE_ENVMAP ) || defined( DISTANCE ) || defined ( USE_SHADOWMAP ) || defined ( USE_TRANSMISSION ) || NUM_SPOT_LIGHT_COORDS > 0
	vec4 worldPosition = vec4( transformed, 1.0 );
	#ifdef USE_BATCHING
		worldPosition = batchingMatrix * worldPosition;
	#endif
	#ifdef USE_INSTANCING
		worldPosition = instanceMatrix * worldPosition;
	#endif
	worldPosition = modelMatrix * worldPosition;
#endif`,ZM=`varying vec2 vUv;
uniform mat3 uvTransform;
void main() {
	vUv = ( uvTransform * vec3( uv, 1 ) ).xy;
	gl_Position = vec4( position.xy, 1.0, 1.0 );
}`,JM=`uniform sampler2D t2D;
uniform float backgroundIntensity;
varying vec2 vUv;
void main() {
	vec4 texColor = texture2D( t2D, vUv );
	#ifdef DECODE_VIDEO_TEXTURE
		texColor = vec4( mix( pow( texColor.rgb * 0.9478672986 + vec3( 0.0521327014 ), vec3( 2.4 ) ), texColor.rgb * 0.0773993808, vec3( lessThanEqual( texColor.rgb, vec3( 0.04045 ) ) ) ), texColor.w );
	#endif
	texColor.rgb *= backgroundIntensity;
	gl_FragColor = texColor;
	#include <tonemapping_fragment>
	#include <colorspace_fragment>
}`,KM=`varying vec3 vWorldDirection;
#include <common>
void main() {
	vWorldDirection = transformDirection( position, modelMatrix );
	#include <begin_vertex>
	#include <project_vertex>
	gl_Position.z = gl_Position.w;
}`,jM=`uniform float backgroundBlurriness;
uniform float backgroundIntensity;
uniform mat3 backgroundRotation;
varying vec3 vWorldDirection;
#include <envmap_common_pars_fragment>
void main() {
	#ifdef ENVMAP_TYPE_PMREM
		vec4 texColor = textureLod( envMap, backgroundRotation * vWorldDirection, roughnessToMip( backgroundBlurriness ) );
	#else
		vec4 texColor = textureCube( envMap, backgroundRotation * vWorldDirection );
	#endif
	texColor.rgb *= backgroundIntensity;
	gl_FragColor = texColor;
	#include <tonemapping_fragment>
	#include <colorspace_fragment>
}`,QM=`varying vec3 vWorldDirection;
#include <common>
void main() {
	vWorldDirection = transformDirection( position, modelMatrix );
	#include <begin_vertex>
	#include <project_vertex>
	gl_Position.z = gl_Position.w;
}`,ew=`uniform samplerCube tCube;
uniform float tFlip;
uniform float opacity;
varying vec3 vWorldDirection;
void main() {
	vec4 texColor = textureCube( tCube, vec3( tFlip * vWorldDirection.x, vWorldDirection.yz ) );
	gl_FragColor = texColor;
	gl_FragColor.a *= opacity;
	#include <tonemapping_fragment>
	#include <colorspace_fragment>
}`,tw=`#include <common>
#include <batching_pars_vertex>
#include <uv_pars_vertex>
#include <displacementmap_pars_vertex>
#include <morphtarget_pars_vertex>
#include <skinning_pars_vertex>
#include <logdepthbuf_pars_vertex>
#include <clipping_planes_pars_vertex>
varying vec2 vHighPrecisionZW;
void main() {
	#include <uv_vertex>
	#include <batching_vertex>
	#include <skinbase_vertex>
	#include <morphinstance_vertex>
	#ifdef USE_DISPLACEMENTMAP
		#include <beginnormal_vertex>
		#include <morphnormal_vertex>
		#include <skinnormal_vertex>
	#endif
	#include <begin_vertex>
	#include <morphtarget_vertex>
	#include <skinning_vertex>
	#include <displacementmap_vertex>
	#include <project_vertex>
	#include <logdepthbuf_vertex>
	#include <clipping_planes_vertex>
	vHighPrecisionZW = gl_Position.zw;
}`,nw=`#if DEPTH_PACKING == 3200
	uniform float opacity;
#endif
#include <common>
#include <packing>
#include <uv_pars_fragment>
#include <map_pars_fragment>
#include <alphamap_pars_fragment>
#include <alphatest_pars_fragment>
#include <alphahash_pars_fragment>
#include <logdepthbuf_pars_fragment>
#include <clipping_planes_pars_fragment>
varying vec2 vHighPrecisionZW;
void main() {
	vec4 diffuseColor = vec4( 1.0 );
	#include <clipping_planes_fragment>
	#if DEPTH_PACKING == 3200
		diffuseColor.a = opacity;
	#endif
	#include <map_fragment>
	#include <alphamap_fragment>
	#include <alphatest_fragment>
	#include <alphahash_fragment>
	#include <logdepthbuf_fragment>
	#ifdef USE_REVERSED_DEPTH_BUFFER
		float fragCoordZ = vHighPrecisionZW[ 0 ] / vHighPrecisionZW[ 1 ];
	#else
		float fragCoordZ = 0.5 * vHighPrecisionZW[ 0 ] / vHighPrecisionZW[ 1 ] + 0.5;
	#endif
	#if DEPTH_PACKING == 3200
		gl_FragColor = vec4( vec3( 1.0 - fragCoordZ ), opacity );
	#elif DEPTH_PACKING == 3201
		gl_FragColor = packDepthToRGBA( fragCoordZ );
	#elif DEPTH_PACKING == 3202
		gl_FragColor = vec4( packDepthToRGB( fragCoordZ ), 1.0 );
	#elif DEPTH_PACKING == 3203
		gl_FragColor = vec4( packDepthToRG( fragCoordZ ), 0.0, 1.0 );
	#endif
}`,iw=`#define DISTANCE
varying vec3 vWorldPosition;
#include <common>
#include <batching_pars_vertex>
#include <uv_pars_vertex>
#include <displacementmap_pars_vertex>
#include <morphtarget_pars_vertex>
#include <skinning_pars_vertex>
#include <clipping_planes_pars_vertex>
void main() {
	#include <uv_vertex>
	#include <batching_vertex>
	#include <skinbase_vertex>
	#include <morphinstance_vertex>
	#ifdef USE_DISPLACEMENTMAP
		#include <beginnormal_vertex>
		#include <morphnormal_vertex>
		#include <skinnormal_vertex>
	#endif
	#include <begin_vertex>
	#include <morphtarget_vertex>
	#include <skinning_vertex>
	#include <displacementmap_vertex>
	#include <project_vertex>
	#include <worldpos_vertex>
	#include <clipping_planes_vertex>
	vWorldPosition = worldPosition.xyz;
}`,sw=`#define DISTANCE
uniform vec3 referencePosition;
uniform float nearDistance;
uniform float farDistance;
varying vec3 vWorldPosition;
#include <common>
#include <uv_pars_fragment>
#include <map_pars_fragment>
#include <alphamap_pars_fragment>
#include <alphatest_pars_fragment>
#include <alphahash_pars_fragment>
#include <clipping_planes_pars_fragment>
void main() {
	vec4 diffuseColor = vec4( 1.0 );
	#include <clipping_planes_fragment>
	#include <map_fragment>
	#include <alphamap_fragment>
	#include <alphatest_fragment>
	#include <alphahash_fragment>
	float dist = length( vWorldPosition - referencePosition );
	dist = ( dist - nearDistance ) / ( farDistance - nearDistance );
	dist = saturate( dist );
	gl_FragColor = vec4( dist, 0.0, 0.0, 1.0 );
}`,rw=`varying vec3 vWorldDirection;
#include <common>
void main() {
	vWorldDirection = transformDirection( position, modelMatrix );
	#include <begin_vertex>
	#include <project_vertex>
}`,ow=`uniform sampler2D tEquirect;
varying vec3 vWorldDirection;
#include <common>
void main() {
	vec3 direction = normalize( vWorldDirection );
	vec2 sampleUV = equirectUv( direction );
	gl_FragColor = texture2D( tEquirect, sampleUV );
	#include <tonemapping_fragment>
	#include <colorspace_fragment>
}`,aw=`uniform float scale;
attribute float lineDistance;
varying float vLineDistance;
#include <common>
#include <uv_pars_vertex>
#include <color_pars_vertex>
#include <fog_pars_vertex>
#include <morphtarget_pars_vertex>
#include <logdepthbuf_pars_vertex>
#include <clipping_planes_pars_vertex>
void main() {
	vLineDistance = scale * lineDistance;
	#include <uv_vertex>
	#include <color_vertex>
	#include <morphinstance_vertex>
	#include <morphcolor_vertex>
	#include <begin_vertex>
	#include <morphtarget_vertex>
	#include <project_vertex>
	#include <logdepthbuf_vertex>
	#include <clipping_planes_vertex>
	#include <fog_vertex>
}`,lw=`uniform vec3 diffuse;
uniform float opacity;
uniform float dashSize;
uniform float totalSize;
varying float vLineDistance;
#include <common>
#include <color_pars_fragment>
#include <uv_pars_fragment>
#include <map_pars_fragment>
#include <fog_pars_fragment>
#include <logdepthbuf_pars_fragment>
#include <clipping_planes_pars_fragment>
void main() {
	vec4 diffuseColor = vec4( diffuse, opacity );
	#include <clipping_planes_fragment>
	if ( mod( vLineDistance, totalSize ) > dashSize ) {
		discard;
	}
	vec3 outgoingLight = vec3( 0.0 );
	#include <logdepthbuf_fragment>
	#include <map_fragment>
	#include <color_fragment>
	outgoingLight = diffuseColor.rgb;
	#include <opaque_fragment>
	#include <tonemapping_fragment>
	#include <colorspace_fragment>
	#include <fog_fragment>
	#include <premultiplied_alpha_fragment>
}`,cw=`#include <common>
#include <batching_pars_vertex>
#include <uv_pars_vertex>
#include <envmap_pars_vertex>
#include <color_pars_vertex>
#include <fog_pars_vertex>
#include <morphtarget_pars_vertex>
#include <skinning_pars_vertex>
#include <logdepthbuf_pars_vertex>
#include <clipping_planes_pars_vertex>
void main() {
	#include <uv_vertex>
	#include <color_vertex>
	#include <morphinstance_vertex>
	#include <morphcolor_vertex>
	#include <batching_vertex>
	#if defined ( USE_ENVMAP ) || defined ( USE_SKINNING )
		#include <beginnormal_vertex>
		#include <morphnormal_vertex>
		#include <skinbase_vertex>
		#include <skinnormal_vertex>
		#include <defaultnormal_vertex>
	#endif
	#include <begin_vertex>
	#include <morphtarget_vertex>
	#include <skinning_vertex>
	#include <project_vertex>
	#include <logdepthbuf_vertex>
	#include <clipping_planes_vertex>
	#include <worldpos_vertex>
	#include <envmap_vertex>
	#include <fog_vertex>
}`,hw=`uniform vec3 diffuse;
uniform float opacity;
#ifndef FLAT_SHADED
	varying vec3 vNormal;
#endif
#include <common>
#include <dithering_pars_fragment>
#include <color_pars_fragment>
#include <uv_pars_fragment>
#include <map_pars_fragment>
#include <alphamap_pars_fragment>
#include <alphatest_pars_fragment>
#include <alphahash_pars_fragment>
#include <aomap_pars_fragment>
#include <lightmap_pars_fragment>
#include <envmap_common_pars_fragment>
#include <envmap_pars_fragment>
#include <fog_pars_fragment>
#include <specularmap_pars_fragment>
#include <logdepthbuf_pars_fragment>
#include <clipping_planes_pars_fragment>
void main() {
	vec4 diffuseColor = vec4( diffuse, opacity );
	#include <clipping_planes_fragment>
	#include <logdepthbuf_fragment>
	#include <map_fragment>
	#include <color_fragment>
	#include <alphamap_fragment>
	#include <alphatest_fragment>
	#include <alphahash_fragment>
	#include <specularmap_fragment>
	ReflectedLight reflectedLight = ReflectedLight( vec3( 0.0 ), vec3( 0.0 ), vec3( 0.0 ), vec3( 0.0 ) );
	#ifdef USE_LIGHTMAP
		vec4 lightMapTexel = texture2D( lightMap, vLightMapUv );
		reflectedLight.indirectDiffuse += lightMapTexel.rgb * lightMapIntensity * RECIPROCAL_PI;
	#else
		reflectedLight.indirectDiffuse += vec3( 1.0 );
	#endif
	#include <aomap_fragment>
	reflectedLight.indirectDiffuse *= diffuseColor.rgb;
	vec3 outgoingLight = reflectedLight.indirectDiffuse;
	#include <envmap_fragment>
	#include <opaque_fragment>
	#include <tonemapping_fragment>
	#include <colorspace_fragment>
	#include <fog_fragment>
	#include <premultiplied_alpha_fragment>
	#include <dithering_fragment>
}`,uw=`#define LAMBERT
varying vec3 vViewPosition;
#include <common>
#include <batching_pars_vertex>
#include <uv_pars_vertex>
#include <displacementmap_pars_vertex>
#include <envmap_pars_vertex>
#include <color_pars_vertex>
#include <fog_pars_vertex>
#include <normal_pars_vertex>
#include <morphtarget_pars_vertex>
#include <skinning_pars_vertex>
#include <shadowmap_pars_vertex>
#include <logdepthbuf_pars_vertex>
#include <clipping_planes_pars_vertex>
void main() {
	#include <uv_vertex>
	#include <color_vertex>
	#include <morphinstance_vertex>
	#include <morphcolor_vertex>
	#include <batching_vertex>
	#include <beginnormal_vertex>
	#include <morphnormal_vertex>
	#include <skinbase_vertex>
	#include <skinnormal_vertex>
	#include <defaultnormal_vertex>
	#include <normal_vertex>
	#include <begin_vertex>
	#include <morphtarget_vertex>
	#include <skinning_vertex>
	#include <displacementmap_vertex>
	#include <project_vertex>
	#include <logdepthbuf_vertex>
	#include <clipping_planes_vertex>
	vViewPosition = - mvPosition.xyz;
	#include <worldpos_vertex>
	#include <envmap_vertex>
	#include <shadowmap_vertex>
	#include <fog_vertex>
}`,dw=`#define LAMBERT
uniform vec3 diffuse;
uniform vec3 emissive;
uniform float opacity;
#include <common>
#include <dithering_pars_fragment>
#include <color_pars_fragment>
#include <uv_pars_fragment>
#include <map_pars_fragment>
#include <alphamap_pars_fragment>
#include <alphatest_pars_fragment>
#include <alphahash_pars_fragment>
#include <aomap_pars_fragment>
#include <lightmap_pars_fragment>
#include <emissivemap_pars_fragment>
#include <envmap_common_pars_fragment>
#include <envmap_pars_fragment>
#include <envmap_physical_pars_fragment>
#include <fog_pars_fragment>
#include <bsdfs>
#include <lights_pars_begin>
#include <normal_pars_fragment>
#include <lights_lambert_pars_fragment>
#include <shadowmap_pars_fragment>
#include <bumpmap_pars_fragment>
#include <normalmap_pars_fragment>
#include <specularmap_pars_fragment>
#include <logdepthbuf_pars_fragment>
#include <clipping_planes_pars_fragment>
void main() {
	vec4 diffuseColor = vec4( diffuse, opacity );
	#include <clipping_planes_fragment>
	ReflectedLight reflectedLight = ReflectedLight( vec3( 0.0 ), vec3( 0.0 ), vec3( 0.0 ), vec3( 0.0 ) );
	vec3 totalEmissiveRadiance = emissive;
	#include <logdepthbuf_fragment>
	#include <map_fragment>
	#include <color_fragment>
	#include <alphamap_fragment>
	#include <alphatest_fragment>
	#include <alphahash_fragment>
	#include <specularmap_fragment>
	#include <normal_fragment_begin>
	#include <normal_fragment_maps>
	#include <emissivemap_fragment>
	#include <lights_lambert_fragment>
	#include <lights_fragment_begin>
	#include <lights_fragment_maps>
	#include <lights_fragment_end>
	#include <aomap_fragment>
	vec3 outgoingLight = reflectedLight.directDiffuse + reflectedLight.indirectDiffuse + totalEmissiveRadiance;
	#include <envmap_fragment>
	#include <opaque_fragment>
	#include <tonemapping_fragment>
	#include <colorspace_fragment>
	#include <fog_fragment>
	#include <premultiplied_alpha_fragment>
	#include <dithering_fragment>
}`,fw=`#define MATCAP
varying vec3 vViewPosition;
#include <common>
#include <batching_pars_vertex>
#include <uv_pars_vertex>
#include <color_pars_vertex>
#include <displacementmap_pars_vertex>
#include <fog_pars_vertex>
#include <normal_pars_vertex>
#include <morphtarget_pars_vertex>
#include <skinning_pars_vertex>
#include <logdepthbuf_pars_vertex>
#include <clipping_planes_pars_vertex>
void main() {
	#include <uv_vertex>
	#include <color_vertex>
	#include <morphinstance_vertex>
	#include <morphcolor_vertex>
	#include <batching_vertex>
	#include <beginnormal_vertex>
	#include <morphnormal_vertex>
	#include <skinbase_vertex>
	#include <skinnormal_vertex>
	#include <defaultnormal_vertex>
	#include <normal_vertex>
	#include <begin_vertex>
	#include <morphtarget_vertex>
	#include <skinning_vertex>
	#include <displacementmap_vertex>
	#include <project_vertex>
	#include <logdepthbuf_vertex>
	#include <clipping_planes_vertex>
	#include <fog_vertex>
	vViewPosition = - mvPosition.xyz;
}`,pw=`#define MATCAP
uniform vec3 diffuse;
uniform float opacity;
uniform sampler2D matcap;
varying vec3 vViewPosition;
#include <common>
#include <dithering_pars_fragment>
#include <color_pars_fragment>
#include <uv_pars_fragment>
#include <map_pars_fragment>
#include <alphamap_pars_fragment>
#include <alphatest_pars_fragment>
#include <alphahash_pars_fragment>
#include <fog_pars_fragment>
#include <normal_pars_fragment>
#include <bumpmap_pars_fragment>
#include <normalmap_pars_fragment>
#include <logdepthbuf_pars_fragment>
#include <clipping_planes_pars_fragment>
void main() {
	vec4 diffuseColor = vec4( diffuse, opacity );
	#include <clipping_planes_fragment>
	#include <logdepthbuf_fragment>
	#include <map_fragment>
	#include <color_fragment>
	#include <alphamap_fragment>
	#include <alphatest_fragment>
	#include <alphahash_fragment>
	#include <normal_fragment_begin>
	#include <normal_fragment_maps>
	vec3 viewDir = normalize( vViewPosition );
	vec3 x = normalize( vec3( viewDir.z, 0.0, - viewDir.x ) );
	vec3 y = cross( viewDir, x );
	vec2 uv = vec2( dot( x, normal ), dot( y, normal ) ) * 0.495 + 0.5;
	#ifdef USE_MATCAP
		vec4 matcapColor = texture2D( matcap, uv );
	#else
		vec4 matcapColor = vec4( vec3( mix( 0.2, 0.8, uv.y ) ), 1.0 );
	#endif
	vec3 outgoingLight = diffuseColor.rgb * matcapColor.rgb;
	#include <opaque_fragment>
	#include <tonemapping_fragment>
	#include <colorspace_fragment>
	#include <fog_fragment>
	#include <premultiplied_alpha_fragment>
	#include <dithering_fragment>
}`,mw=`#define NORMAL
#if defined( FLAT_SHADED ) || defined( USE_BUMPMAP ) || defined( USE_NORMALMAP_TANGENTSPACE )
	varying vec3 vViewPosition;
#endif
#include <common>
#include <batching_pars_vertex>
#include <uv_pars_vertex>
#include <displacementmap_pars_vertex>
#include <normal_pars_vertex>
#include <morphtarget_pars_vertex>
#include <skinning_pars_vertex>
#include <logdepthbuf_pars_vertex>
#include <clipping_planes_pars_vertex>
void main() {
	#include <uv_vertex>
	#include <batching_vertex>
	#include <beginnormal_vertex>
	#include <morphinstance_vertex>
	#include <morphnormal_vertex>
	#include <skinbase_vertex>
	#include <skinnormal_vertex>
	#include <defaultnormal_vertex>
	#include <normal_vertex>
	#include <begin_vertex>
	#include <morphtarget_vertex>
	#include <skinning_vertex>
	#include <displacementmap_vertex>
	#include <project_vertex>
	#include <logdepthbuf_vertex>
	#include <clipping_planes_vertex>
#if defined( FLAT_SHADED ) || defined( USE_BUMPMAP ) || defined( USE_NORMALMAP_TANGENTSPACE )
	vViewPosition = - mvPosition.xyz;
#endif
}`,gw=`#define NORMAL
uniform float opacity;
#if defined( FLAT_SHADED ) || defined( USE_BUMPMAP ) || defined( USE_NORMALMAP_TANGENTSPACE )
	varying vec3 vViewPosition;
#endif
#include <uv_pars_fragment>
#include <normal_pars_fragment>
#include <bumpmap_pars_fragment>
#include <normalmap_pars_fragment>
#include <logdepthbuf_pars_fragment>
#include <clipping_planes_pars_fragment>
void main() {
	vec4 diffuseColor = vec4( 0.0, 0.0, 0.0, opacity );
	#include <clipping_planes_fragment>
	#include <logdepthbuf_fragment>
	#include <normal_fragment_begin>
	#include <normal_fragment_maps>
	gl_FragColor = vec4( normalize( normal ) * 0.5 + 0.5, diffuseColor.a );
	#ifdef OPAQUE
		gl_FragColor.a = 1.0;
	#endif
}`,_w=`#define PHONG
varying vec3 vViewPosition;
#include <common>
#include <batching_pars_vertex>
#include <uv_pars_vertex>
#include <displacementmap_pars_vertex>
#include <envmap_pars_vertex>
#include <color_pars_vertex>
#include <fog_pars_vertex>
#include <normal_pars_vertex>
#include <morphtarget_pars_vertex>
#include <skinning_pars_vertex>
#include <shadowmap_pars_vertex>
#include <logdepthbuf_pars_vertex>
#include <clipping_planes_pars_vertex>
void main() {
	#include <uv_vertex>
	#include <color_vertex>
	#include <morphcolor_vertex>
	#include <batching_vertex>
	#include <beginnormal_vertex>
	#include <morphinstance_vertex>
	#include <morphnormal_vertex>
	#include <skinbase_vertex>
	#include <skinnormal_vertex>
	#include <defaultnormal_vertex>
	#include <normal_vertex>
	#include <begin_vertex>
	#include <morphtarget_vertex>
	#include <skinning_vertex>
	#include <displacementmap_vertex>
	#include <project_vertex>
	#include <logdepthbuf_vertex>
	#include <clipping_planes_vertex>
	vViewPosition = - mvPosition.xyz;
	#include <worldpos_vertex>
	#include <envmap_vertex>
	#include <shadowmap_vertex>
	#include <fog_vertex>
}`,xw=`#define PHONG
uniform vec3 diffuse;
uniform vec3 emissive;
uniform vec3 specular;
uniform float shininess;
uniform float opacity;
#include <common>
#include <dithering_pars_fragment>
#include <color_pars_fragment>
#include <uv_pars_fragment>
#include <map_pars_fragment>
#include <alphamap_pars_fragment>
#include <alphatest_pars_fragment>
#include <alphahash_pars_fragment>
#include <aomap_pars_fragment>
#include <lightmap_pars_fragment>
#include <emissivemap_pars_fragment>
#include <envmap_common_pars_fragment>
#include <envmap_pars_fragment>
#include <envmap_physical_pars_fragment>
#include <fog_pars_fragment>
#include <bsdfs>
#include <lights_pars_begin>
#include <normal_pars_fragment>
#include <lights_phong_pars_fragment>
#include <shadowmap_pars_fragment>
#include <bumpmap_pars_fragment>
#include <normalmap_pars_fragment>
#include <specularmap_pars_fragment>
#include <logdepthbuf_pars_fragment>
#include <clipping_planes_pars_fragment>
void main() {
	vec4 diffuseColor = vec4( diffuse, opacity );
	#include <clipping_planes_fragment>
	ReflectedLight reflectedLight = ReflectedLight( vec3( 0.0 ), vec3( 0.0 ), vec3( 0.0 ), vec3( 0.0 ) );
	vec3 totalEmissiveRadiance = emissive;
	#include <logdepthbuf_fragment>
	#include <map_fragment>
	#include <color_fragment>
	#include <alphamap_fragment>
	#include <alphatest_fragment>
	#include <alphahash_fragment>
	#include <specularmap_fragment>
	#include <normal_fragment_begin>
	#include <normal_fragment_maps>
	#include <emissivemap_fragment>
	#include <lights_phong_fragment>
	#include <lights_fragment_begin>
	#include <lights_fragment_maps>
	#include <lights_fragment_end>
	#include <aomap_fragment>
	vec3 outgoingLight = reflectedLight.directDiffuse + reflectedLight.indirectDiffuse + reflectedLight.directSpecular + reflectedLight.indirectSpecular + totalEmissiveRadiance;
	#include <envmap_fragment>
	#include <opaque_fragment>
	#include <tonemapping_fragment>
	#include <colorspace_fragment>
	#include <fog_fragment>
	#include <premultiplied_alpha_fragment>
	#include <dithering_fragment>
}`,yw=`#define STANDARD
varying vec3 vViewPosition;
#ifdef USE_TRANSMISSION
	varying vec3 vWorldPosition;
#endif
#include <common>
#include <batching_pars_vertex>
#include <uv_pars_vertex>
#include <displacementmap_pars_vertex>
#include <color_pars_vertex>
#include <fog_pars_vertex>
#include <normal_pars_vertex>
#include <morphtarget_pars_vertex>
#include <skinning_pars_vertex>
#include <shadowmap_pars_vertex>
#include <logdepthbuf_pars_vertex>
#include <clipping_planes_pars_vertex>
void main() {
	#include <uv_vertex>
	#include <color_vertex>
	#include <morphinstance_vertex>
	#include <morphcolor_vertex>
	#include <batching_vertex>
	#include <beginnormal_vertex>
	#include <morphnormal_vertex>
	#include <skinbase_vertex>
	#include <skinnormal_vertex>
	#include <defaultnormal_vertex>
	#include <normal_vertex>
	#include <begin_vertex>
	#include <morphtarget_vertex>
	#include <skinning_vertex>
	#include <displacementmap_vertex>
	#include <project_vertex>
	#include <logdepthbuf_vertex>
	#include <clipping_planes_vertex>
	vViewPosition = - mvPosition.xyz;
	#include <worldpos_vertex>
	#include <shadowmap_vertex>
	#include <fog_vertex>
#ifdef USE_TRANSMISSION
	vWorldPosition = worldPosition.xyz;
#endif
}`,vw=`#define STANDARD
#ifdef PHYSICAL
	#define IOR
	#define USE_SPECULAR
#endif
uniform vec3 diffuse;
uniform vec3 emissive;
uniform float roughness;
uniform float metalness;
uniform float opacity;
#ifdef IOR
	uniform float ior;
#endif
#ifdef USE_SPECULAR
	uniform float specularIntensity;
	uniform vec3 specularColor;
	#ifdef USE_SPECULAR_COLORMAP
		uniform sampler2D specularColorMap;
	#endif
	#ifdef USE_SPECULAR_INTENSITYMAP
		uniform sampler2D specularIntensityMap;
	#endif
#endif
#ifdef USE_CLEARCOAT
	uniform float clearcoat;
	uniform float clearcoatRoughness;
#endif
#ifdef USE_DIFFUSE_ROUGHNESS
	uniform float diffuseRoughness;
	#ifdef USE_DIFFUSE_ROUGHNESSMAP
		uniform sampler2D diffuseRoughnessMap;
	#endif
#endif
#ifdef USE_DISPERSION
	uniform float dispersion;
#endif
#ifdef USE_RETROREFLECTION
	uniform float retroreflectivity;
#endif
#ifdef USE_IRIDESCENCE
	uniform float iridescence;
	uniform float iridescenceIOR;
	uniform float iridescenceThicknessMinimum;
	uniform float iridescenceThicknessMaximum;
#endif
#ifdef USE_SHEEN
	uniform vec3 sheenColor;
	uniform float sheenRoughness;
	#ifdef USE_SHEEN_COLORMAP
		uniform sampler2D sheenColorMap;
	#endif
	#ifdef USE_SHEEN_ROUGHNESSMAP
		uniform sampler2D sheenRoughnessMap;
	#endif
#endif
#ifdef USE_ANISOTROPY
	uniform vec2 anisotropyVector;
	#ifdef USE_ANISOTROPYMAP
		uniform sampler2D anisotropyMap;
	#endif
#endif
varying vec3 vViewPosition;
#include <common>
#include <dithering_pars_fragment>
#include <color_pars_fragment>
#include <uv_pars_fragment>
#include <map_pars_fragment>
#include <alphamap_pars_fragment>
#include <alphatest_pars_fragment>
#include <alphahash_pars_fragment>
#include <aomap_pars_fragment>
#include <lightmap_pars_fragment>
#include <emissivemap_pars_fragment>
#include <iridescence_fragment>
#include <envmap_common_pars_fragment>
#include <envmap_physical_pars_fragment>
#include <fog_pars_fragment>
#include <lights_pars_begin>
#include <normal_pars_fragment>
#include <lights_physical_pars_fragment>
#include <transmission_pars_fragment>
#include <shadowmap_pars_fragment>
#include <bumpmap_pars_fragment>
#include <normalmap_pars_fragment>
#include <clearcoat_pars_fragment>
#include <iridescence_pars_fragment>
#include <roughnessmap_pars_fragment>
#include <metalnessmap_pars_fragment>
#include <logdepthbuf_pars_fragment>
#include <clipping_planes_pars_fragment>
void main() {
	vec4 diffuseColor = vec4( diffuse, opacity );
	#include <clipping_planes_fragment>
	ReflectedLight reflectedLight = ReflectedLight( vec3( 0.0 ), vec3( 0.0 ), vec3( 0.0 ), vec3( 0.0 ) );
	vec3 totalEmissiveRadiance = emissive;
	#include <logdepthbuf_fragment>
	#include <map_fragment>
	#include <color_fragment>
	#include <alphamap_fragment>
	#include <alphatest_fragment>
	#include <alphahash_fragment>
	#include <roughnessmap_fragment>
	#include <metalnessmap_fragment>
	#include <normal_fragment_begin>
	#include <normal_fragment_maps>
	#include <clearcoat_normal_fragment_begin>
	#include <clearcoat_normal_fragment_maps>
	#include <emissivemap_fragment>
	#include <lights_physical_fragment>
	#include <lights_fragment_begin>
	#include <lights_fragment_maps>
	#include <lights_fragment_end>
	#include <aomap_fragment>
	vec3 totalDiffuse = reflectedLight.directDiffuse + reflectedLight.indirectDiffuse;
	vec3 totalSpecular = reflectedLight.directSpecular + reflectedLight.indirectSpecular;
	#include <transmission_fragment>
	vec3 outgoingLight = totalDiffuse + totalSpecular + totalEmissiveRadiance;
	#ifdef USE_SHEEN
 
		outgoingLight = outgoingLight + sheenSpecularDirect + sheenSpecularIndirect;
 
 	#endif
	#ifdef USE_CLEARCOAT
		float dotNVcc = saturate( dot( geometryClearcoatNormal, geometryViewDir ) );
		vec3 Fcc = F_Schlick( material.clearcoatF0, material.clearcoatF90, dotNVcc );
		outgoingLight = outgoingLight * ( 1.0 - material.clearcoat * Fcc ) + ( clearcoatSpecularDirect + clearcoatSpecularIndirect ) * material.clearcoat;
	#endif
	#include <opaque_fragment>
	#include <tonemapping_fragment>
	#include <colorspace_fragment>
	#include <fog_fragment>
	#include <premultiplied_alpha_fragment>
	#include <dithering_fragment>
}`,Sw=`#define TOON
varying vec3 vViewPosition;
#include <common>
#include <batching_pars_vertex>
#include <uv_pars_vertex>
#include <displacementmap_pars_vertex>
#include <color_pars_vertex>
#include <fog_pars_vertex>
#include <normal_pars_vertex>
#include <morphtarget_pars_vertex>
#include <skinning_pars_vertex>
#include <shadowmap_pars_vertex>
#include <logdepthbuf_pars_vertex>
#include <clipping_planes_pars_vertex>
void main() {
	#include <uv_vertex>
	#include <color_vertex>
	#include <morphinstance_vertex>
	#include <morphcolor_vertex>
	#include <batching_vertex>
	#include <beginnormal_vertex>
	#include <morphnormal_vertex>
	#include <skinbase_vertex>
	#include <skinnormal_vertex>
	#include <defaultnormal_vertex>
	#include <normal_vertex>
	#include <begin_vertex>
	#include <morphtarget_vertex>
	#include <skinning_vertex>
	#include <displacementmap_vertex>
	#include <project_vertex>
	#include <logdepthbuf_vertex>
	#include <clipping_planes_vertex>
	vViewPosition = - mvPosition.xyz;
	#include <worldpos_vertex>
	#include <shadowmap_vertex>
	#include <fog_vertex>
}`,bw=`#define TOON
uniform vec3 diffuse;
uniform vec3 emissive;
uniform float opacity;
#include <common>
#include <dithering_pars_fragment>
#include <color_pars_fragment>
#include <uv_pars_fragment>
#include <map_pars_fragment>
#include <alphamap_pars_fragment>
#include <alphatest_pars_fragment>
#include <alphahash_pars_fragment>
#include <aomap_pars_fragment>
#include <lightmap_pars_fragment>
#include <emissivemap_pars_fragment>
#include <gradientmap_pars_fragment>
#include <fog_pars_fragment>
#include <bsdfs>
#include <lights_pars_begin>
#include <normal_pars_fragment>
#include <lights_toon_pars_fragment>
#include <shadowmap_pars_fragment>
#include <bumpmap_pars_fragment>
#include <normalmap_pars_fragment>
#include <logdepthbuf_pars_fragment>
#include <clipping_planes_pars_fragment>
void main() {
	vec4 diffuseColor = vec4( diffuse, opacity );
	#include <clipping_planes_fragment>
	ReflectedLight reflectedLight = ReflectedLight( vec3( 0.0 ), vec3( 0.0 ), vec3( 0.0 ), vec3( 0.0 ) );
	vec3 totalEmissiveRadiance = emissive;
	#include <logdepthbuf_fragment>
	#include <map_fragment>
	#include <color_fragment>
	#include <alphamap_fragment>
	#include <alphatest_fragment>
	#include <alphahash_fragment>
	#include <normal_fragment_begin>
	#include <normal_fragment_maps>
	#include <emissivemap_fragment>
	#include <lights_toon_fragment>
	#include <lights_fragment_begin>
	#include <lights_fragment_maps>
	#include <lights_fragment_end>
	#include <aomap_fragment>
	vec3 outgoingLight = reflectedLight.directDiffuse + reflectedLight.indirectDiffuse + totalEmissiveRadiance;
	#include <opaque_fragment>
	#include <tonemapping_fragment>
	#include <colorspace_fragment>
	#include <fog_fragment>
	#include <premultiplied_alpha_fragment>
	#include <dithering_fragment>
}`,Mw=`uniform float size;
uniform float scale;
#include <common>
#include <color_pars_vertex>
#include <fog_pars_vertex>
#include <morphtarget_pars_vertex>
#include <logdepthbuf_pars_vertex>
#include <clipping_planes_pars_vertex>
#ifdef USE_POINTS_UV
	varying vec2 vUv;
	uniform mat3 uvTransform;
#endif
void main() {
	#ifdef USE_POINTS_UV
		vUv = ( uvTransform * vec3( uv, 1 ) ).xy;
	#endif
	#include <color_vertex>
	#include <morphinstance_vertex>
	#include <morphcolor_vertex>
	#include <begin_vertex>
	#include <morphtarget_vertex>
	#include <project_vertex>
	gl_PointSize = size;
	#ifdef USE_SIZEATTENUATION
		bool isPerspective = isPerspectiveMatrix( projectionMatrix );
		if ( isPerspective ) gl_PointSize *= ( scale / - mvPosition.z );
	#endif
	#include <logdepthbuf_vertex>
	#include <clipping_planes_vertex>
	#include <worldpos_vertex>
	#include <fog_vertex>
}`,ww=`uniform vec3 diffuse;
uniform float opacity;
#include <common>
#include <color_pars_fragment>
#include <map_particle_pars_fragment>
#include <alphatest_pars_fragment>
#include <alphahash_pars_fragment>
#include <fog_pars_fragment>
#include <logdepthbuf_pars_fragment>
#include <clipping_planes_pars_fragment>
void main() {
	vec4 diffuseColor = vec4( diffuse, opacity );
	#include <clipping_planes_fragment>
	vec3 outgoingLight = vec3( 0.0 );
	#include <logdepthbuf_fragment>
	#include <map_particle_fragment>
	#include <color_fragment>
	#include <alphatest_fragment>
	#include <alphahash_fragment>
	outgoingLight = diffuseColor.rgb;
	#include <opaque_fragment>
	#include <tonemapping_fragment>
	#include <colorspace_fragment>
	#include <fog_fragment>
	#include <premultiplied_alpha_fragment>
}`,Aw=`#include <common>
#include <batching_pars_vertex>
#include <fog_pars_vertex>
#include <morphtarget_pars_vertex>
#include <skinning_pars_vertex>
#include <logdepthbuf_pars_vertex>
#include <shadowmap_pars_vertex>
void main() {
	#include <batching_vertex>
	#include <beginnormal_vertex>
	#include <morphinstance_vertex>
	#include <morphnormal_vertex>
	#include <skinbase_vertex>
	#include <skinnormal_vertex>
	#include <defaultnormal_vertex>
	#include <begin_vertex>
	#include <morphtarget_vertex>
	#include <skinning_vertex>
	#include <project_vertex>
	#include <logdepthbuf_vertex>
	#include <worldpos_vertex>
	#include <shadowmap_vertex>
	#include <fog_vertex>
}`,Ew=`uniform vec3 color;
uniform float opacity;
#include <common>
#include <fog_pars_fragment>
#include <bsdfs>
#include <lights_pars_begin>
#include <logdepthbuf_pars_fragment>
#include <shadowmap_pars_fragment>
#include <shadowmask_pars_fragment>
void main() {
	#include <logdepthbuf_fragment>
	gl_FragColor = vec4( color, opacity * ( 1.0 - getShadowMask() ) );
	#include <tonemapping_fragment>
	#include <colorspace_fragment>
	#include <fog_fragment>
	#include <premultiplied_alpha_fragment>
}`,Tw=`uniform float rotation;
uniform vec2 center;
#include <common>
#include <uv_pars_vertex>
#include <fog_pars_vertex>
#include <logdepthbuf_pars_vertex>
#include <clipping_planes_pars_vertex>
void main() {
	#include <uv_vertex>
	vec4 mvPosition = modelViewMatrix[ 3 ];
	vec2 scale = vec2( length( modelMatrix[ 0 ].xyz ), length( modelMatrix[ 1 ].xyz ) );
	#ifndef USE_SIZEATTENUATION
		bool isPerspective = isPerspectiveMatrix( projectionMatrix );
		if ( isPerspective ) scale *= - mvPosition.z;
	#endif
	vec2 alignedPosition = ( position.xy - ( center - vec2( 0.5 ) ) ) * scale;
	vec2 rotatedPosition;
	rotatedPosition.x = cos( rotation ) * alignedPosition.x - sin( rotation ) * alignedPosition.y;
	rotatedPosition.y = sin( rotation ) * alignedPosition.x + cos( rotation ) * alignedPosition.y;
	mvPosition.xy += rotatedPosition;
	gl_Position = projectionMatrix * mvPosition;
	#include <logdepthbuf_vertex>
	#include <clipping_planes_vertex>
	#include <fog_vertex>
}`,Cw=`uniform vec3 diffuse;
uniform float opacity;
#include <common>
#include <uv_pars_fragment>
#include <map_pars_fragment>
#include <alphamap_pars_fragment>
#include <alphatest_pars_fragment>
#include <alphahash_pars_fragment>
#include <fog_pars_fragment>
#include <logdepthbuf_pars_fragment>
#include <clipping_planes_pars_fragment>
void main() {
	vec4 diffuseColor = vec4( diffuse, opacity );
	#include <clipping_planes_fragment>
	vec3 outgoingLight = vec3( 0.0 );
	#include <logdepthbuf_fragment>
	#include <map_fragment>
	#include <alphamap_fragment>
	#include <alphatest_fragment>
	#include <alphahash_fragment>
	outgoingLight = diffuseColor.rgb;
	#include <opaque_fragment>
	#include <tonemapping_fragment>
	#include <colorspace_fragment>
	#include <fog_fragment>
}`,ht={alphahash_fragment:JS,alphahash_pars_fragment:KS,alphamap_fragment:jS,alphamap_pars_fragment:QS,alphatest_fragment:eb,alphatest_pars_fragment:tb,aomap_fragment:nb,aomap_pars_fragment:ib,batching_pars_vertex:sb,batching_vertex:rb,begin_vertex:ob,beginnormal_vertex:ab,bsdfs:lb,iridescence_fragment:cb,bumpmap_pars_fragment:hb,clipping_planes_fragment:ub,clipping_planes_pars_fragment:db,clipping_planes_pars_vertex:fb,clipping_planes_vertex:pb,color_fragment:mb,color_pars_fragment:gb,color_pars_vertex:_b,color_vertex:xb,common:yb,defaultnormal_vertex:vb,displacementmap_pars_vertex:Sb,displacementmap_vertex:bb,emissivemap_fragment:Mb,emissivemap_pars_fragment:wb,colorspace_fragment:Ab,colorspace_pars_fragment:Eb,envmap_fragment:Tb,envmap_common_pars_fragment:Cb,envmap_pars_fragment:Rb,envmap_pars_vertex:Pb,envmap_physical_pars_fragment:Vb,envmap_vertex:Ib,fog_vertex:Lb,fog_pars_vertex:Db,fog_fragment:Nb,fog_pars_fragment:Ub,gradientmap_pars_fragment:Fb,lightmap_pars_fragment:Ob,lights_lambert_fragment:Bb,lights_lambert_pars_fragment:kb,lights_pars_begin:zb,lights_toon_fragment:Gb,lights_toon_pars_fragment:Hb,lights_phong_fragment:Wb,lights_phong_pars_fragment:Xb,lights_physical_fragment:qb,lights_physical_pars_fragment:Yb,lights_fragment_begin:$b,lights_fragment_maps:Zb,lights_fragment_end:Jb,lightprobes_pars_fragment:Kb,logdepthbuf_fragment:jb,logdepthbuf_pars_fragment:Qb,logdepthbuf_pars_vertex:eM,logdepthbuf_vertex:tM,map_fragment:nM,map_pars_fragment:iM,map_particle_fragment:sM,map_particle_pars_fragment:rM,metalnessmap_fragment:oM,metalnessmap_pars_fragment:aM,morphinstance_vertex:lM,morphcolor_vertex:cM,morphnormal_vertex:hM,morphtarget_pars_vertex:uM,morphtarget_vertex:dM,normal_fragment_begin:fM,normal_fragment_maps:pM,normal_pars_fragment:mM,normal_pars_vertex:gM,normal_vertex:_M,normalmap_pars_fragment:xM,clearcoat_normal_fragment_begin:yM,clearcoat_normal_fragment_maps:vM,clearcoat_pars_fragment:SM,iridescence_pars_fragment:bM,opaque_fragment:MM,packing:wM,premultiplied_alpha_fragment:AM,project_vertex:EM,dithering_fragment:TM,dithering_pars_fragment:CM,roughnessmap_fragment:RM,roughnessmap_pars_fragment:PM,shadowmap_pars_fragment:IM,shadowmap_pars_vertex:LM,shadowmap_vertex:DM,shadowmask_pars_fragment:NM,skinbase_vertex:UM,skinning_pars_vertex:FM,skinning_vertex:OM,skinnormal_vertex:BM,specularmap_fragment:kM,specularmap_pars_fragment:zM,tonemapping_fragment:VM,tonemapping_pars_fragment:GM,transmission_fragment:HM,transmission_pars_fragment:WM,uv_pars_fragment:XM,uv_pars_vertex:qM,uv_vertex:YM,worldpos_vertex:$M,background_vert:ZM,background_frag:JM,backgroundCube_vert:KM,backgroundCube_frag:jM,cube_vert:QM,cube_frag:ew,depth_vert:tw,depth_frag:nw,distance_vert:iw,distance_frag:sw,equirect_vert:rw,equirect_frag:ow,linedashed_vert:aw,linedashed_frag:lw,meshbasic_vert:cw,meshbasic_frag:hw,meshlambert_vert:uw,meshlambert_frag:dw,meshmatcap_vert:fw,meshmatcap_frag:pw,meshnormal_vert:mw,meshnormal_frag:gw,meshphong_vert:_w,meshphong_frag:xw,meshphysical_vert:yw,meshphysical_frag:vw,meshtoon_vert:Sw,meshtoon_frag:bw,points_vert:Mw,points_frag:ww,shadow_vert:Aw,shadow_frag:Ew,sprite_vert:Tw,sprite_frag:Cw},Pe={common:{diffuse:{value:new je(16777215)},opacity:{value:1},map:{value:null},mapTransform:{value:new tt},alphaMap:{value:null},alphaMapTransform:{value:new tt},alphaTest:{value:0}},specularmap:{specularMap:{value:null},specularMapTransform:{value:new tt}},envmap:{envMap:{value:null},envMapRotation:{value:new tt},reflectivity:{value:1},ior:{value:1.5},refractionRatio:{value:.98},dfgLUT:{value:null}},aomap:{aoMap:{value:null},aoMapIntensity:{value:1},aoMapTransform:{value:new tt}},lightmap:{lightMap:{value:null},lightMapIntensity:{value:1},lightMapTransform:{value:new tt}},bumpmap:{bumpMap:{value:null},bumpMapTransform:{value:new tt},bumpScale:{value:1}},normalmap:{normalMap:{value:null},normalMapTransform:{value:new tt},normalScale:{value:new He(1,1)}},displacementmap:{displacementMap:{value:null},displacementMapTransform:{value:new tt},displacementScale:{value:1},displacementBias:{value:0}},emissivemap:{emissiveMap:{value:null},emissiveMapTransform:{value:new tt}},metalnessmap:{metalnessMap:{value:null},metalnessMapTransform:{value:new tt}},roughnessmap:{roughnessMap:{value:null},roughnessMapTransform:{value:new tt}},gradientmap:{gradientMap:{value:null}},fog:{fogDensity:{value:25e-5},fogNear:{value:1},fogFar:{value:2e3},fogColor:{value:new je(16777215)}},lights:{ambientLightColor:{value:[]},lightProbe:{value:[]},sunLights:{value:[],properties:{direction:{},color:{}}},sunLightShadows:{value:[],properties:{shadowIntensity:1,shadowBias:{},shadowNormalBias:{},shadowRadius:{},shadowMapSize:{}}},sunShadowMatrix:{value:[]},sunShadowCascade:{value:[]},directionalLights:{value:[],properties:{direction:{},color:{}}},directionalLightShadows:{value:[],properties:{shadowIntensity:1,shadowBias:{},shadowNormalBias:{},shadowRadius:{},shadowMapSize:{}}},directionalShadowMatrix:{value:[]},spotLights:{value:[],properties:{color:{},position:{},direction:{},distance:{},coneCos:{},penumbraCos:{},decay:{}}},spotLightShadows:{value:[],properties:{shadowIntensity:1,shadowBias:{},shadowNormalBias:{},shadowRadius:{},shadowMapSize:{}}},spotLightMap:{value:[]},spotLightMatrix:{value:[]},pointLights:{value:[],properties:{color:{},position:{},decay:{},distance:{}}},pointLightShadows:{value:[],properties:{shadowIntensity:1,shadowBias:{},shadowNormalBias:{},shadowRadius:{},shadowMapSize:{},shadowCameraNear:{},shadowCameraFar:{}}},pointShadowMatrix:{value:[]},hemisphereLights:{value:[],properties:{direction:{},skyColor:{},groundColor:{}}},rectAreaLights:{value:[],properties:{color:{},position:{},width:{},height:{}}},ltc_1:{value:null},ltc_2:{value:null},probesSH:{value:[]},probesMin:{value:[]},probesMax:{value:[]},probesResolution:{value:[]}},points:{diffuse:{value:new je(16777215)},opacity:{value:1},size:{value:1},scale:{value:1},map:{value:null},alphaMap:{value:null},alphaMapTransform:{value:new tt},alphaTest:{value:0},uvTransform:{value:new tt}},sprite:{diffuse:{value:new je(16777215)},opacity:{value:1},center:{value:new He(.5,.5)},rotation:{value:0},map:{value:null},mapTransform:{value:new tt},alphaMap:{value:null},alphaMapTransform:{value:new tt},alphaTest:{value:0}}},Jn={basic:{uniforms:kn([Pe.common,Pe.specularmap,Pe.envmap,Pe.aomap,Pe.lightmap,Pe.fog]),vertexShader:ht.meshbasic_vert,fragmentShader:ht.meshbasic_frag},lambert:{uniforms:kn([Pe.common,Pe.specularmap,Pe.envmap,Pe.aomap,Pe.lightmap,Pe.emissivemap,Pe.bumpmap,Pe.normalmap,Pe.displacementmap,Pe.fog,Pe.lights,{emissive:{value:new je(0)},envMapIntensity:{value:1}}]),vertexShader:ht.meshlambert_vert,fragmentShader:ht.meshlambert_frag},phong:{uniforms:kn([Pe.common,Pe.specularmap,Pe.envmap,Pe.aomap,Pe.lightmap,Pe.emissivemap,Pe.bumpmap,Pe.normalmap,Pe.displacementmap,Pe.fog,Pe.lights,{emissive:{value:new je(0)},specular:{value:new je(1118481)},shininess:{value:30},envMapIntensity:{value:1}}]),vertexShader:ht.meshphong_vert,fragmentShader:ht.meshphong_frag},standard:{uniforms:kn([Pe.common,Pe.envmap,Pe.aomap,Pe.lightmap,Pe.emissivemap,Pe.bumpmap,Pe.normalmap,Pe.displacementmap,Pe.roughnessmap,Pe.metalnessmap,Pe.fog,Pe.lights,{emissive:{value:new je(0)},roughness:{value:1},metalness:{value:0},envMapIntensity:{value:1}}]),vertexShader:ht.meshphysical_vert,fragmentShader:ht.meshphysical_frag},toon:{uniforms:kn([Pe.common,Pe.aomap,Pe.lightmap,Pe.emissivemap,Pe.bumpmap,Pe.normalmap,Pe.displacementmap,Pe.gradientmap,Pe.fog,Pe.lights,{emissive:{value:new je(0)}}]),vertexShader:ht.meshtoon_vert,fragmentShader:ht.meshtoon_frag},matcap:{uniforms:kn([Pe.common,Pe.bumpmap,Pe.normalmap,Pe.displacementmap,Pe.fog,{matcap:{value:null}}]),vertexShader:ht.meshmatcap_vert,fragmentShader:ht.meshmatcap_frag},points:{uniforms:kn([Pe.points,Pe.fog]),vertexShader:ht.points_vert,fragmentShader:ht.points_frag},dashed:{uniforms:kn([Pe.common,Pe.fog,{scale:{value:1},dashSize:{value:1},totalSize:{value:2}}]),vertexShader:ht.linedashed_vert,fragmentShader:ht.linedashed_frag},depth:{uniforms:kn([Pe.common,Pe.displacementmap]),vertexShader:ht.depth_vert,fragmentShader:ht.depth_frag},normal:{uniforms:kn([Pe.common,Pe.bumpmap,Pe.normalmap,Pe.displacementmap,{opacity:{value:1}}]),vertexShader:ht.meshnormal_vert,fragmentShader:ht.meshnormal_frag},sprite:{uniforms:kn([Pe.sprite,Pe.fog]),vertexShader:ht.sprite_vert,fragmentShader:ht.sprite_frag},background:{uniforms:{uvTransform:{value:new tt},t2D:{value:null},backgroundIntensity:{value:1}},vertexShader:ht.background_vert,fragmentShader:ht.background_frag},backgroundCube:{uniforms:{envMap:{value:null},backgroundBlurriness:{value:0},backgroundIntensity:{value:1},backgroundRotation:{value:new tt}},vertexShader:ht.backgroundCube_vert,fragmentShader:ht.backgroundCube_frag},cube:{uniforms:{tCube:{value:null},tFlip:{value:-1},opacity:{value:1}},vertexShader:ht.cube_vert,fragmentShader:ht.cube_frag},equirect:{uniforms:{tEquirect:{value:null}},vertexShader:ht.equirect_vert,fragmentShader:ht.equirect_frag},distance:{uniforms:kn([Pe.common,Pe.displacementmap,{referencePosition:{value:new U},nearDistance:{value:1},farDistance:{value:1e3}}]),vertexShader:ht.distance_vert,fragmentShader:ht.distance_frag},shadow:{uniforms:kn([Pe.lights,Pe.fog,{color:{value:new je(0)},opacity:{value:1}}]),vertexShader:ht.shadow_vert,fragmentShader:ht.shadow_frag}};Jn.physical={uniforms:kn([Jn.standard.uniforms,{clearcoat:{value:0},clearcoatMap:{value:null},clearcoatMapTransform:{value:new tt},clearcoatNormalMap:{value:null},clearcoatNormalMapTransform:{value:new tt},clearcoatNormalScale:{value:new He(1,1)},clearcoatRoughness:{value:0},clearcoatRoughnessMap:{value:null},clearcoatRoughnessMapTransform:{value:new tt},diffuseRoughness:{value:0},diffuseRoughnessMap:{value:null},diffuseRoughnessMapTransform:{value:new tt},dispersion:{value:0},retroreflectivity:{value:0},iridescence:{value:0},iridescenceMap:{value:null},iridescenceMapTransform:{value:new tt},iridescenceIOR:{value:1.3},iridescenceThicknessMinimum:{value:100},iridescenceThicknessMaximum:{value:400},iridescenceThicknessMap:{value:null},iridescenceThicknessMapTransform:{value:new tt},sheen:{value:0},sheenColor:{value:new je(0)},sheenColorMap:{value:null},sheenColorMapTransform:{value:new tt},sheenRoughness:{value:1},sheenRoughnessMap:{value:null},sheenRoughnessMapTransform:{value:new tt},transmission:{value:0},transmissionMap:{value:null},transmissionMapTransform:{value:new tt},transmissionSamplerSize:{value:new He},transmissionSamplerMap:{value:null},thickness:{value:0},thicknessMap:{value:null},thicknessMapTransform:{value:new tt},attenuationDistance:{value:0},attenuationColor:{value:new je(0)},specularColor:{value:new je(1,1,1)},specularColorMap:{value:null},specularColorMapTransform:{value:new tt},specularIntensity:{value:1},specularIntensityMap:{value:null},specularIntensityMapTransform:{value:new tt},anisotropyVector:{value:new He},anisotropyMap:{value:null},anisotropyMapTransform:{value:new tt}}]),vertexShader:ht.meshphysical_vert,fragmentShader:ht.meshphysical_frag};var Oh={r:0,b:0,g:0},Rw=new Dt,C_=new tt;C_.set(-1,0,0,0,1,0,0,0,1);function Pw(i,e,t,n,s,r){let o=new je(0),a=s===!0?0:1,c,l,u=null,h=0,d=null;function f(v){let T=v.isScene===!0?v.background:null;if(T&&T.isTexture){let S=v.backgroundBlurriness>0;T=e.get(T,S)}return T}function g(v){let T=!1,S=f(v);S===null?m(o,a):S&&S.isColor&&(m(S,1),T=!0);let C=i.xr.getEnvironmentBlendMode();C==="additive"?t.buffers.color.setClear(0,0,0,1,r):C==="alpha-blend"&&t.buffers.color.setClear(0,0,0,0,r),(i.autoClear||T)&&(t.buffers.depth.setTest(!0),t.buffers.depth.setMask(!0),t.buffers.color.setMask(!0),i.clear(i.autoClearColor,i.autoClearDepth,i.autoClearStencil))}function y(v,T){let S=f(T);S&&S.isCubeTexture?(l===void 0&&(l=new en(new Vs(1,1,1),new Zn({name:"BackgroundCubeMaterial",uniforms:gr(Jn.backgroundCube.uniforms),vertexShader:Jn.backgroundCube.vertexShader,fragmentShader:Jn.backgroundCube.fragmentShader,side:Cn,depthTest:!1,depthWrite:!1,fog:!1,allowOverride:!1})),l.geometry.deleteAttribute("normal"),l.geometry.deleteAttribute("uv"),l.onBeforeRender=function(C,E,x){this.matrixWorld.copyPosition(x.matrixWorld)},Object.defineProperty(l.material,"envMap",{get:function(){return this.uniforms.envMap.value}}),n.update(l)),l.material.uniforms.envMap.value=S,l.material.uniforms.backgroundBlurriness.value=T.backgroundBlurriness,l.material.uniforms.backgroundIntensity.value=T.backgroundIntensity,l.material.uniforms.backgroundRotation.value.setFromMatrix4(Rw.makeRotationFromEuler(T.backgroundRotation)).transpose(),S.isRenderTargetTexture===!1&&l.material.uniforms.backgroundRotation.value.premultiply(C_),l.material.toneMapped=xt.getTransfer(S.colorSpace)!==At,(u!==S||h!==S.version||d!==i.toneMapping)&&(l.material.needsUpdate=!0,u=S,h=S.version,d=i.toneMapping),l.layers.enableAll(),v.unshift(l,l.geometry,l.material,0,0,null)):S&&S.isTexture&&(c===void 0&&(c=new en(new Aa(2,2),new Zn({name:"BackgroundMaterial",uniforms:gr(Jn.background.uniforms),vertexShader:Jn.background.vertexShader,fragmentShader:Jn.background.fragmentShader,side:qs,depthTest:!1,depthWrite:!1,fog:!1,allowOverride:!1})),c.geometry.deleteAttribute("normal"),Object.defineProperty(c.material,"map",{get:function(){return this.uniforms.t2D.value}}),n.update(c)),c.material.uniforms.t2D.value=S,c.material.uniforms.backgroundIntensity.value=T.backgroundIntensity,c.material.toneMapped=xt.getTransfer(S.colorSpace)!==At,S.matrixAutoUpdate===!0&&S.updateMatrix(),c.material.uniforms.uvTransform.value.copy(S.matrix),(u!==S||h!==S.version||d!==i.toneMapping)&&(c.material.needsUpdate=!0,u=S,h=S.version,d=i.toneMapping),c.layers.enableAll(),v.unshift(c,c.geometry,c.material,0,0,null))}function m(v,T){v.getRGB(Oh,Af(i)),t.buffers.color.setClear(Oh.r,Oh.g,Oh.b,T,r)}function p(){l!==void 0&&(l.geometry.dispose(),l.material.dispose(),l=void 0),c!==void 0&&(c.geometry.dispose(),c.material.dispose(),c=void 0)}return{getClearColor:function(){return o},setClearColor:function(v,T=1){o.set(v),a=T,m(o,a)},getClearAlpha:function(){return a},setClearAlpha:function(v){a=v,m(o,a)},render:g,addToRenderList:y,dispose:p}}function Iw(i,e){let t=i.getParameter(i.MAX_VERTEX_ATTRIBS),n={},s=d(null),r=s,o=!1;function a(I,k,V,N,W){let $=!1,H=h(I,N,V,k);r!==H&&(r=H,l(r.object)),$=f(I,N,V,W),$&&g(I,N,V,W),W!==null&&e.update(W,i.ELEMENT_ARRAY_BUFFER),($||o)&&(o=!1,S(I,k,V,N),W!==null&&i.bindBuffer(i.ELEMENT_ARRAY_BUFFER,e.get(W).buffer))}function c(){return i.createVertexArray()}function l(I){return i.bindVertexArray(I)}function u(I){return i.deleteVertexArray(I)}function h(I,k,V,N){let W=N.wireframe===!0,$=n[k.id];$===void 0&&($={},n[k.id]=$);let H=I.isInstancedMesh===!0?I.id:0,ce=$[H];ce===void 0&&(ce={},$[H]=ce);let K=ce[V.id];K===void 0&&(K={},ce[V.id]=K);let Q=K[W];return Q===void 0&&(Q=d(c()),K[W]=Q),Q}function d(I){let k=[],V=[],N=[];for(let W=0;W<t;W++)k[W]=0,V[W]=0,N[W]=0;return{geometry:null,program:null,wireframe:!1,newAttributes:k,enabledAttributes:V,attributeDivisors:N,object:I,attributes:{},index:null}}function f(I,k,V,N){let W=r.attributes,$=k.attributes,H=0,ce=V.getAttributes();for(let K in ce)if(ce[K].location>=0){let se=W[K],de=$[K];if(de===void 0&&(K==="instanceMatrix"&&I.instanceMatrix&&(de=I.instanceMatrix),K==="instanceColor"&&I.instanceColor&&(de=I.instanceColor)),se===void 0||se.attribute!==de||de&&se.data!==de.data)return!0;H++}return r.attributesNum!==H||r.index!==N}function g(I,k,V,N){let W={},$=k.attributes,H=0,ce=V.getAttributes();for(let K in ce)if(ce[K].location>=0){let se=$[K];se===void 0&&(K==="instanceMatrix"&&I.instanceMatrix&&(se=I.instanceMatrix),K==="instanceColor"&&I.instanceColor&&(se=I.instanceColor));let de={};de.attribute=se,se&&se.data&&(de.data=se.data),W[K]=de,H++}r.attributes=W,r.attributesNum=H,r.index=N}function y(){let I=r.newAttributes;for(let k=0,V=I.length;k<V;k++)I[k]=0}function m(I){p(I,0)}function p(I,k){let V=r.newAttributes,N=r.enabledAttributes,W=r.attributeDivisors;V[I]=1,N[I]===0&&(i.enableVertexAttribArray(I),N[I]=1),W[I]!==k&&(i.vertexAttribDivisor(I,k),W[I]=k)}function v(){let I=r.newAttributes,k=r.enabledAttributes;for(let V=0,N=k.length;V<N;V++)k[V]!==I[V]&&(i.disableVertexAttribArray(V),k[V]=0)}function T(I,k,V,N,W,$,H){H===!0?i.vertexAttribIPointer(I,k,V,W,$):i.vertexAttribPointer(I,k,V,N,W,$)}function S(I,k,V,N){y();let W=N.attributes,$=V.getAttributes(),H=k.defaultAttributeValues;for(let ce in $){let K=$[ce];if(K.location>=0){let Q=W[ce];if(Q===void 0&&(ce==="instanceMatrix"&&I.instanceMatrix&&(Q=I.instanceMatrix),ce==="instanceColor"&&I.instanceColor&&(Q=I.instanceColor)),Q!==void 0){let se=Q.normalized,de=Q.itemSize,ue=e.get(Q);if(ue===void 0)continue;let ee=ue.buffer,me=ue.type,xe=ue.bytesPerElement,Te=me===i.INT||me===i.UNSIGNED_INT||Q.gpuType===Qc;if(Q.isInterleavedBufferAttribute){let be=Q.data,We=be.isInterleavedBuffer===!0?be.stride:be.itemSize,st=Q.offset;if(be.isInstancedInterleavedBuffer||be.isInstancedBufferAttribute){for(let Ve=0;Ve<K.locationSize;Ve++)p(K.location+Ve,be.meshPerAttribute);I.isInstancedMesh!==!0&&N._maxInstanceCount===void 0&&(N._maxInstanceCount=be.meshPerAttribute*be.count)}else for(let Ve=0;Ve<K.locationSize;Ve++)m(K.location+Ve);i.bindBuffer(i.ARRAY_BUFFER,ee);for(let Ve=0;Ve<K.locationSize;Ve++)T(K.location+Ve,de/K.locationSize,me,se,We*xe,(st+de/K.locationSize*Ve)*xe,Te)}else{if(Q.isInstancedBufferAttribute){for(let be=0;be<K.locationSize;be++)p(K.location+be,Q.meshPerAttribute);I.isInstancedMesh!==!0&&N._maxInstanceCount===void 0&&(N._maxInstanceCount=Q.meshPerAttribute*Q.count)}else for(let be=0;be<K.locationSize;be++)m(K.location+be);i.bindBuffer(i.ARRAY_BUFFER,ee);for(let be=0;be<K.locationSize;be++)T(K.location+be,de/K.locationSize,me,se,de*xe,de/K.locationSize*be*xe,Te)}}else if(H!==void 0){let se=H[ce];if(se!==void 0)switch(se.length){case 2:i.vertexAttrib2fv(K.location,se);break;case 3:i.vertexAttrib3fv(K.location,se);break;case 4:i.vertexAttrib4fv(K.location,se);break;default:i.vertexAttrib1fv(K.location,se)}}}}v()}function C(){F();for(let I in n){let k=n[I];for(let V in k){let N=k[V];for(let W in N){let $=N[W];for(let H in $)u($[H].object),delete $[H];delete N[W]}}delete n[I]}}function E(I){if(n[I.id]===void 0)return;let k=n[I.id];for(let V in k){let N=k[V];for(let W in N){let $=N[W];for(let H in $)u($[H].object),delete $[H];delete N[W]}}delete n[I.id]}function x(I){for(let k in n){let V=n[k];for(let N in V){let W=V[N];if(W[I.id]===void 0)continue;let $=W[I.id];for(let H in $)u($[H].object),delete $[H];delete W[I.id]}}}function A(I){for(let k in n){let V=n[k],N=I.isInstancedMesh===!0?I.id:0,W=V[N];if(W!==void 0){for(let $ in W){let H=W[$];for(let ce in H)u(H[ce].object),delete H[ce];delete W[$]}delete V[N],Object.keys(V).length===0&&delete n[k]}}}function F(){L(),o=!0,r!==s&&(r=s,l(r.object))}function L(){s.geometry=null,s.program=null,s.wireframe=!1}return{setup:a,reset:F,resetDefaultState:L,dispose:C,releaseStatesOfGeometry:E,releaseStatesOfObject:A,releaseStatesOfProgram:x,initAttributes:y,enableAttribute:m,disableUnusedAttributes:v}}function Lw(i,e,t){let n;function s(c){n=c}function r(c,l){i.drawArrays(n,c,l),t.update(l,n,1)}function o(c,l,u){u!==0&&(i.drawArraysInstanced(n,c,l,u),t.update(l,n,u))}function a(c,l,u){if(u===0)return;e.get("WEBGL_multi_draw").multiDrawArraysWEBGL(n,c,0,l,0,u);let d=0;for(let f=0;f<u;f++)d+=l[f];t.update(d,n,1)}this.setMode=s,this.render=r,this.renderInstances=o,this.renderMultiDraw=a}function Dw(i,e,t,n){let s;function r(){if(s!==void 0)return s;if(e.has("EXT_texture_filter_anisotropic")===!0){let x=e.get("EXT_texture_filter_anisotropic");s=i.getParameter(x.MAX_TEXTURE_MAX_ANISOTROPY_EXT)}else s=0;return s}function o(x){return!(x!==Oi&&n.convert(x)!==i.getParameter(i.IMPLEMENTATION_COLOR_READ_FORMAT))}function a(x){let A=x===Fi&&(e.has("EXT_color_buffer_half_float")||e.has("EXT_color_buffer_float"));return!(x!==jn&&x!==Ui&&!A&&n.convert(x)!==i.getParameter(i.IMPLEMENTATION_COLOR_READ_TYPE))}function c(x){if(x==="highp"){if(i.getShaderPrecisionFormat(i.VERTEX_SHADER,i.HIGH_FLOAT).precision>0&&i.getShaderPrecisionFormat(i.FRAGMENT_SHADER,i.HIGH_FLOAT).precision>0)return"highp";x="mediump"}return x==="mediump"&&i.getShaderPrecisionFormat(i.VERTEX_SHADER,i.MEDIUM_FLOAT).precision>0&&i.getShaderPrecisionFormat(i.FRAGMENT_SHADER,i.MEDIUM_FLOAT).precision>0?"mediump":"lowp"}let l=t.precision!==void 0?t.precision:"highp",u=c(l);u!==l&&(Ye("WebGLRenderer:",l,"not supported, using",u,"instead."),l=u);let h=t.reversedDepthBuffer===!0&&e.has("EXT_clip_control"),d=t.logarithmicDepthBuffer===!0&&h===!1;t.reversedDepthBuffer===!0&&h===!1&&Ye("WebGLRenderer: Unable to use reversed depth buffer due to missing EXT_clip_control extension. Fallback to default depth buffer."),t.logarithmicDepthBuffer===!0&&h===!0&&Ye("WebGLRenderer: Logarithmic depth buffer is ignored when reversed depth buffer is enabled.");let f=i.getParameter(i.MAX_TEXTURE_IMAGE_UNITS),g=i.getParameter(i.MAX_VERTEX_TEXTURE_IMAGE_UNITS),y=i.getParameter(i.MAX_TEXTURE_SIZE),m=i.getParameter(i.MAX_CUBE_MAP_TEXTURE_SIZE),p=i.getParameter(i.MAX_VERTEX_ATTRIBS),v=i.getParameter(i.MAX_VERTEX_UNIFORM_VECTORS),T=i.getParameter(i.MAX_VARYING_VECTORS),S=i.getParameter(i.MAX_FRAGMENT_UNIFORM_VECTORS),C=i.getParameter(i.MAX_SAMPLES),E=i.getParameter(i.SAMPLES);return{isWebGL2:!0,getMaxAnisotropy:r,getMaxPrecision:c,textureFormatReadable:o,textureTypeReadable:a,precision:l,logarithmicDepthBuffer:d,reversedDepthBuffer:h,maxTextures:f,maxVertexTextures:g,maxTextureSize:y,maxCubemapSize:m,maxAttributes:p,maxVertexUniforms:v,maxVaryings:T,maxFragmentUniforms:S,maxSamples:C,samples:E}}function Nw(i){let e=this,t=null,n=0,s=!1,r=!1,o=new hi,a=new tt,c={value:null,needsUpdate:!1};this.uniform=c,this.numPlanes=0,this.numIntersection=0,this.init=function(h,d){let f=h.length!==0||d||n!==0||s;return s=d,n=h.length,f},this.beginShadows=function(){r=!0,u(null)},this.endShadows=function(){r=!1},this.setGlobalState=function(h,d){t=u(h,d,0)},this.setState=function(h,d,f){let g=h.clippingPlanes,y=h.clipIntersection,m=h.clipShadows,p=i.get(h);if(!s||g===null||g.length===0||r&&!m)r?u(null):l();else{let v=r?0:n,T=v*4,S=p.clippingState||null;c.value=S,S=u(g,d,T,f);for(let C=0;C!==T;++C)S[C]=t[C];p.clippingState=S,this.numIntersection=y?this.numPlanes:0,this.numPlanes+=v}};function l(){c.value!==t&&(c.value=t,c.needsUpdate=n>0),e.numPlanes=n,e.numIntersection=0}function u(h,d,f,g){let y=h!==null?h.length:0,m=null;if(y!==0){if(m=c.value,g!==!0||m===null){let p=f+y*4,v=d.matrixWorldInverse;a.getNormalMatrix(v),(m===null||m.length<p)&&(m=new Float32Array(p));for(let T=0,S=f;T!==y;++T,S+=4)o.copy(h[T]).applyMatrix4(v,a),o.normal.toArray(m,S),m[S+3]=o.constant}c.value=m,c.needsUpdate=!0}return e.numPlanes=y,e.numIntersection=0,m}}var Za=class extends di{constructor(e=1,t={}){super(e,e,t),this.isWebGLCubeRenderTarget=!0;let n={width:e,height:e,depth:1},s=[n,n,n,n,n,n];this.texture=new xa(s),this._setTextureOptions(t),this.texture.isRenderTargetTexture=!0}fromEquirectangularTexture(e,t){this.texture.type=t.type,this.texture.colorSpace=t.colorSpace,this.texture.generateMipmaps=t.generateMipmaps,this.texture.minFilter=t.minFilter,this.texture.magFilter=t.magFilter;let n={uniforms:{tEquirect:{value:null}},vertexShader:`

				varying vec3 vWorldDirection;

				vec3 transformDirection( in vec3 dir, in mat4 matrix ) {

					return normalize( ( matrix * vec4( dir, 0.0 ) ).xyz );

				}

				void main() {

					vWorldDirection = transformDirection( position, modelMatrix );

					#include <begin_vertex>
					#include <project_vertex>

				}
			`,fragmentShader:`

				uniform sampler2D tEquirect;

				varying vec3 vWorldDirection;

				#include <common>

				void main() {

					vec3 direction = normalize( vWorldDirection );

					vec2 sampleUV = equirectUv( direction );

					gl_FragColor = texture2D( tEquirect, sampleUV );

				}
			`},s=new Vs(5,5,5),r=new Zn({name:"CubemapFromEquirect",uniforms:gr(n.uniforms),vertexShader:n.vertexShader,fragmentShader:n.fragmentShader,side:Cn,blending:dr});r.uniforms.tEquirect.value=t;let o=new en(s,r),a=t.minFilter;return t.minFilter===Ms&&(t.minFilter=$n),new vo(1,10,this).update(e,o),t.minFilter=a,o.geometry.dispose(),o.material.dispose(),this}clear(e,t=!0,n=!0,s=!0){let r=e.getRenderTarget();for(let o=0;o<6;o++)e.setRenderTarget(this,o),e.clear(t,n,s);e.setRenderTarget(r)}},o_=256,Uw=3,Fw=20,R_=256,P_=16,Ow=3,Bw=new U,kw=new je,kh=class i{constructor(e){this._renderer=e,this._cubeSize=0,this._sourceTarget=null,this._cubeCamera=new vo(1,10,null),this._boxMesh=new en(new Vs(5,5,5),null),this._cubemapMaterial=null,this._equirectMaterial=null,this._blurMaterial=null,this._ggxMaterial=null,this._integrationMaterial=null}fromScene(e,t=0,n=.1,s=100,r={}){let{size:o=256,position:a=Bw}=r,c=this._renderer;this._setSize(o);let l=this._allocateTarget(),u=this._getSourceTarget(!0);t>0&&(u.texture.mipmapsAutoUpdate=!1);let h=c.autoClear,d=c.autoClearColor,f=c.autoClearDepth,g=c.autoClearStencil,y=e.background;c.autoClear=!0,c.autoClearColor=!0,c.autoClearDepth=!0,c.autoClearStencil=!0,y===null&&(e.background=c.getClearColor(kw));let m=new vo(n,s,u);return m.position.copy(a),m.update(c,e),c.autoClear=h,c.autoClearColor=d,c.autoClearDepth=f,c.autoClearStencil=g,e.background=y,t>0&&(u.texture.mipmapsAutoUpdate=!0,this._blur(l,t)),this._applyPMREM(l),l}fromEquirectangular(e,t=null){return this._fromTexture(e,t)}fromCubemap(e,t=null){return this._fromTexture(e,t)}compileCubemapShader(){this._cubemapMaterial===null&&(this._cubemapMaterial=c_(),this._compileMaterial(this._cubemapMaterial))}compileEquirectangularShader(){this._equirectMaterial===null&&(this._equirectMaterial=l_(),this._compileMaterial(this._equirectMaterial))}dispose(){this._sourceTarget!==null&&this._sourceTarget.dispose(),this._cubemapMaterial!==null&&this._cubemapMaterial.dispose(),this._equirectMaterial!==null&&this._equirectMaterial.dispose(),this._blurMaterial!==null&&this._blurMaterial.dispose(),this._ggxMaterial!==null&&this._ggxMaterial.dispose(),this._integrationMaterial!==null&&this._integrationMaterial.dispose(),this._boxMesh.geometry.dispose()}static lodToRoughness(e,t){return t>0?1-Math.sqrt(1-e/t):0}_setSize(e){this._cubeSize=Math.max(o_,vf(e))}_fromTexture(e,t){e.mapping===pr||e.mapping===Mo?this._setSize(e.image.length===0?o_:e.image[0].width||e.image[0].image.width):this._setSize(e.image.width/4);let n=t||this._allocateTarget();return this._textureToCubemap(e),this._applyPMREM(n),n}_allocateTarget(){let e=this._cubeSize,t=a_(e,!1,!1),n=Math.log2(e)-Uw;for(let s=0;s<=n;s++)t.texture.mipmaps.push({width:e>>s,height:e>>s});return t.texture.name="PMREM",t.texture.isPMREMTexture=!0,t}_getSourceTarget(e=!1){let t=this._cubeSize,n=this._sourceTarget;return(n===null||n.width!==t||e&&n.depthBuffer===!1)&&(n!==null&&n.dispose(),this._sourceTarget=a_(t,!0,e)),this._sourceTarget}_compileMaterial(e){this._boxMesh.material=e,this._renderer.compile(this._boxMesh,this._cubeCamera.children[0])}_renderCube(e,t,n){let s=this._boxMesh,r=this._cubeCamera;s.material=n,r.renderTarget=e,r.activeMipmapLevel=t;let o=e.width>>t;e.viewport.set(0,0,o,o),r.update(this._renderer,s),e.viewport.set(0,0,e.width,e.height)}_textureToCubemap(e){let t;e.mapping===pr||e.mapping===Mo?(this._cubemapMaterial===null&&(this._cubemapMaterial=c_()),t=this._cubemapMaterial,t.uniforms.flipEnvMap.value=e.isRenderTargetTexture===!1?-1:1):(this._equirectMaterial===null&&(this._equirectMaterial=l_()),t=this._equirectMaterial),t.uniforms.envMap.value=e,this._renderCube(this._getSourceTarget(),0,t)}_applyPMREM(e){this._ggxMaterial===null&&(this._ggxMaterial=zw(),this._integrationMaterial=Vw());let t=this._cubeSize,n=e.texture.mipmaps.length-1,s=this._ggxMaterial.uniforms;s.envMap.value=this._sourceTarget.texture;let r=this._integrationMaterial.uniforms;r.envMap.value=this._sourceTarget.texture,r.sourceLod.value=Math.log2(t/P_);for(let o=0;o<=n;o++){let a=i.lodToRoughness(o,n);if(o>n-Ow)r.roughness.value=a,this._renderCube(e,o,this._integrationMaterial);else{let c=a>0?Math.log2(t)+.5*Math.log2(6/(R_*Math.pow(a,4)))+.5:0;s.roughness.value=a,s.lodBias.value=c,this._renderCube(e,o,this._ggxMaterial)}}}_blur(e,t){this._blurMaterial===null&&(this._blurMaterial=Gw());let n=this._blurMaterial,s=n.uniforms,r=this._sourceTarget;s.sigma.value=Math.min(t,Math.PI)/Math.SQRT2,s.envMap.value=r.texture,this._renderCube(e,0,n),s.envMap.value=e.texture,this._renderCube(r,0,n)}};function a_(i,e,t){return new Za(i,{minFilter:Ms,generateMipmaps:e,type:Fi,colorSpace:la,depthBuffer:t})}function Ja(i,e,t){return new Zn({name:i,uniforms:e,vertexShader:ht.cube_vert,fragmentShader:t,side:Cn,blending:dr,depthTest:!1,depthWrite:!1})}function zw(){return Ja("PMREMGGXConvolution",{envMap:{value:null},roughness:{value:0},lodBias:{value:0}},`

		#define GGX_SAMPLES ${R_}u

		varying vec3 vWorldDirection;

		uniform samplerCube envMap;
		uniform float roughness;
		uniform float lodBias;

		#include <common>

		// Van der Corput radical inverse
		float radicalInverse_VdC( uint bits ) {

			bits = ( bits << 16u ) | ( bits >> 16u );
			bits = ( ( bits & 0x55555555u ) << 1u ) | ( ( bits & 0xAAAAAAAAu ) >> 1u );
			bits = ( ( bits & 0x33333333u ) << 2u ) | ( ( bits & 0xCCCCCCCCu ) >> 2u );
			bits = ( ( bits & 0x0F0F0F0Fu ) << 4u ) | ( ( bits & 0xF0F0F0F0u ) >> 4u );
			bits = ( ( bits & 0x00FF00FFu ) << 8u ) | ( ( bits & 0xFF00FF00u ) >> 8u );
			return float( bits ) * 2.3283064365386963e-10; // / 0x100000000

		}

		// Hammersley sequence
		vec2 hammersley( uint i, uint N ) {

			return vec2( float( i ) / float( N ), radicalInverse_VdC( i ) );

		}

		void main() {

			vec3 N = normalize( vWorldDirection );

			// For very low roughness, just sample the environment directly
			if ( roughness < 0.001 ) {

				gl_FragColor = vec4( textureLod( envMap, N, 0.0 ).rgb, 1.0 );
				return;

			}

			float alpha = roughness * roughness;
			float alpha2 = alpha * alpha;

			// Tangent space basis for VNDF sampling
			vec3 up = abs( N.z ) < 0.999 ? vec3( 0.0, 0.0, 1.0 ) : vec3( 1.0, 0.0, 0.0 );
			vec3 tangent = normalize( cross( up, N ) );
			vec3 bitangent = cross( N, tangent );

			vec3 prefilteredColor = vec3( 0.0 );
			float totalWeight = 0.0;

			for ( uint i = 0u; i < GGX_SAMPLES; i ++ ) {

				vec2 Xi = hammersley( i, GGX_SAMPLES );

				// With V = N, sample the reflected direction directly.
				float invQ = 1.0 / ( 1.0 - Xi.x + alpha2 * Xi.x );
				float NdotL = ( 1.0 - Xi.x - alpha2 * Xi.x ) * invQ;

				if ( NdotL > 0.0 ) {

					float phi = 2.0 * PI * Xi.y;
					float sinTheta = 2.0 * alpha * sqrt( Xi.x * ( 1.0 - Xi.x ) ) * invQ;
					vec3 L = N * NdotL + ( tangent * cos( phi ) + bitangent * sin( phi ) ) * sinTheta;

					// Match the source mip to the sample's solid angle. The terms
					// independent of the sample are precomputed in lodBias.
					float d = alpha2 * invQ;
					float lod = max( log2( d ) + lodBias, 0.0 );

					// Weight by NdotL for the split-sum approximation
					prefilteredColor += textureLod( envMap, L, lod ).rgb * NdotL;
					totalWeight += NdotL;

				}

			}

			gl_FragColor = vec4( prefilteredColor / totalWeight, 1.0 );

		}
	`)}function Vw(){return Ja("PMREMGGXIntegration",{envMap:{value:null},roughness:{value:0},sourceLod:{value:0},sourceSize:{value:P_}},`

		varying vec3 vWorldDirection;

		uniform samplerCube envMap;
		uniform float roughness;
		uniform float sourceLod;
		uniform int sourceSize;

		void main() {

			vec3 N = normalize( vWorldDirection );

			float alpha = roughness * roughness;
			float alpha2 = alpha * alpha;

			float texelSize = 2.0 / float( sourceSize );

			vec3 prefilteredColor = vec3( 0.0 );
			float totalWeight = 0.0;

			// Pair opposite texels: only the one in N's hemisphere contributes.
			for ( int face = 0; face < 3; face ++ ) {

				for ( int y = 0; y < sourceSize; y ++ ) {

					for ( int x = 0; x < sourceSize; x ++ ) {

						vec2 uv = ( vec2( x, y ) + 0.5 ) * texelSize - 1.0;
						vec3 texelDirection = face == 0 ? vec3( 1.0, uv ) : ( face == 1 ? vec3( uv.x, 1.0, uv.y ) : vec3( uv, 1.0 ) );

						float invDistance = inversesqrt( 1.0 + dot( uv, uv ) );
						float NdotL = dot( N, texelDirection );
						texelDirection *= NdotL < 0.0 ? - 1.0 : 1.0;
						NdotL = abs( NdotL ) * invDistance;

						// With V = N, NdotH squared is ( 1 + NdotL ) / 2. Common factors
						// in the GGX distribution and texel solid angle cancel when normalized.
						float d = 1.0 + alpha2 + ( alpha2 - 1.0 ) * NdotL;
						float weight = NdotL * invDistance * invDistance * invDistance / ( d * d );

						prefilteredColor += textureLod( envMap, texelDirection, sourceLod ).rgb * weight;
						totalWeight += weight;

					}

				}

			}

			gl_FragColor = vec4( prefilteredColor / totalWeight, 1.0 );

		}
	`)}function Gw(){return Ja("PMREMSphericalGaussianBlur",{envMap:{value:null},sigma:{value:0}},`

		#define SAMPLES ${Fw}
		#define GOLDEN_ANGLE 2.39996322973

		varying vec3 vWorldDirection;

		uniform samplerCube envMap;
		uniform float sigma;

		#include <common>

		void main() {

			vec3 outputDirection = normalize( vWorldDirection );

			vec3 up = abs( outputDirection.z ) < 0.999 ? vec3( 0.0, 0.0, 1.0 ) : vec3( 1.0, 0.0, 0.0 );
			vec3 tangent = normalize( cross( up, outputDirection ) );
			vec3 bitangent = cross( outputDirection, tangent );

			// Truncate the kernel at three standard deviations or at the antipode.
			float thetaMax = min( 3.0 * sigma, PI );
			float truncation = 1.0 - exp( - 0.5 * thetaMax * thetaMax / ( sigma * sigma ) );

			vec3 accumColor = vec3( 0.0 );
			float accumWeight = 0.0;

			for ( int i = 0; i < SAMPLES; i ++ ) {

				// Stratified inverse-CDF sampling of the Gaussian, placed on a golden-angle spiral.
				float stratum = ( float( i ) + 0.5 ) / float( SAMPLES );
				float theta = sigma * sqrt( - 2.0 * log( 1.0 - stratum * truncation ) );
				float phi = float( i ) * GOLDEN_ANGLE;

				vec3 offset = cos( phi ) * tangent + sin( phi ) * bitangent;
				vec3 sampleDirection = cos( theta ) * outputDirection + sin( theta ) * offset;

				// Correct the planar sample density to solid angle.
				float weight = sin( theta ) / theta;

				accumColor += weight * textureLod( envMap, sampleDirection, 0.0 ).rgb;
				accumWeight += weight;

			}

			gl_FragColor = vec4( accumColor / accumWeight, 1.0 );

		}
	`)}function l_(){return Ja("PMREMEquirectangularToCubemap",{envMap:{value:null}},`

		varying vec3 vWorldDirection;

		uniform sampler2D envMap;

		#include <common>

		void main() {

			// Average four subpixel samples to preserve small, bright features.
			vec3 direction = normalize( vWorldDirection );
			vec3 dx = dFdx( direction ) * 0.25;
			vec3 dy = dFdy( direction ) * 0.25;

			vec3 color = textureLod( envMap, equirectUv( normalize( direction - dx - dy ) ), 0.0 ).rgb;
			color += textureLod( envMap, equirectUv( normalize( direction + dx - dy ) ), 0.0 ).rgb;
			color += textureLod( envMap, equirectUv( normalize( direction - dx + dy ) ), 0.0 ).rgb;
			color += textureLod( envMap, equirectUv( normalize( direction + dx + dy ) ), 0.0 ).rgb;
			gl_FragColor = vec4( color * 0.25, 1.0 );

		}
	`)}function c_(){return Ja("PMREMCubemapToCubemap",{envMap:{value:null},flipEnvMap:{value:-1}},`

		varying vec3 vWorldDirection;

		uniform samplerCube envMap;
		uniform float flipEnvMap;

		void main() {

			gl_FragColor = vec4( textureCube( envMap, vec3( flipEnvMap * vWorldDirection.x, vWorldDirection.yz ) ).rgb, 1.0 );

		}
	`)}function Hw(i){let e=new WeakMap,t=new WeakMap,n=null;function s(d,f=!1){return d==null?null:f?o(d):r(d)}function r(d){if(d&&d.isTexture){let f=d.mapping;if(f===Jc||f===Kc)if(e.has(d)){let g=e.get(d).texture;return a(g,d.mapping)}else{let g=d.image;if(g&&g.height>0){let y=new Za(g.height);return y.fromEquirectangularTexture(i,d),e.set(d,y),d.addEventListener("dispose",l),a(y.texture,d.mapping)}else return null}}return d}function o(d){if(d&&d.isTexture&&d.isPMREMTexture!==!0){let f=d.mapping,g=f===Jc||f===Kc,y=f===pr||f===Mo;if(g||y){let m=t.get(d),p=m!==void 0?m.texture.pmremVersion:0;if(d.isRenderTargetTexture&&d.pmremVersion!==p)return n===null&&(n=new kh(i)),m=g?n.fromEquirectangular(d,m):n.fromCubemap(d,m),m.texture.pmremVersion=d.pmremVersion,t.set(d,m),m.texture;if(m!==void 0)return m.texture;{let v=d.image;return g&&v&&v.height>0||y&&v&&c(v)?(n===null&&(n=new kh(i)),m=g?n.fromEquirectangular(d):n.fromCubemap(d),m.texture.pmremVersion=d.pmremVersion,t.set(d,m),d.addEventListener("dispose",u),m.texture):null}}}return d}function a(d,f){return f===Jc?d.mapping=pr:f===Kc&&(d.mapping=Mo),d}function c(d){let f=0,g=6;for(let y=0;y<g;y++)d[y]!==void 0&&f++;return f===g}function l(d){let f=d.target;f.removeEventListener("dispose",l);let g=e.get(f);g!==void 0&&(e.delete(f),g.dispose())}function u(d){let f=d.target;f.removeEventListener("dispose",u);let g=t.get(f);g!==void 0&&(t.delete(f),g.dispose())}function h(){e=new WeakMap,t=new WeakMap,n!==null&&(n.dispose(),n=null)}return{get:s,dispose:h}}function Ww(i){let e={};function t(n){if(e[n]!==void 0)return e[n];let s=i.getExtension(n);return e[n]=s,s}return{has:function(n){return t(n)!==null},init:function(){t("EXT_color_buffer_float"),t("WEBGL_clip_cull_distance"),t("OES_texture_float_linear"),t("EXT_color_buffer_half_float"),t("WEBGL_multisampled_render_to_texture"),t("WEBGL_render_shared_exponent")},get:function(n){let s=t(n);return s===null&&ia("WebGLRenderer: "+n+" extension not supported."),s}}}function Xw(i,e,t,n){let s={},r=new WeakMap,o=new FinalizationRegistry(g=>delete s[g]);function a(g){c(g.target)}function c(g){g.index!==null&&e.remove(g.index);for(let m in g.attributes)e.remove(g.attributes[m]);g.removeEventListener("dispose",a),delete s[g.id],o.unregister(g);let y=r.get(g);y&&(e.remove(y),r.delete(g)),n.releaseStatesOfGeometry(g),g.isInstancedBufferGeometry===!0&&delete g._maxInstanceCount,t.memory.geometries--}function l(g,y){return s[y.id]!==void 0||(y.addEventListener("dispose",a),s[y.id]=new WeakRef(y),o.register(y,y.id,y),t.memory.geometries++),y}function u(g){let y=g.attributes;for(let m in y)e.update(y[m],i.ARRAY_BUFFER)}function h(g){let y=g.index,m=g.attributes.position,p=0;if(m===void 0)return;let v=y!==null?y.array.length:m.array.length/3-1,T=m.count>=65535?ga:ma,S=new T(Math.ceil(v/3)*6,1),C=S.array;if(y!==null){let x=y.array;p=y.version;for(let A=0,F=0;A<v;A+=3){let L=x[A+0],I=x[A+1],k=x[A+2];C[F++]=L,C[F++]=I,C[F++]=I,C[F++]=k,C[F++]=k,C[F++]=L}}else{p=m.version;for(let x=0,A=0;x<v;x+=3){let F=x+0,L=x+1,I=x+2;C[A++]=F,C[A++]=L,C[A++]=L,C[A++]=I,C[A++]=I,C[A++]=F}}S.version=p;let E=r.get(g);E&&e.remove(E),r.set(g,S)}function d(g){let y=r.get(g);if(y){let m=g.index;m!==null&&y.version<m.version&&h(g)}else h(g);return r.get(g)}function f(){for(let g in s){let y=s[g].deref();y!==void 0&&c(y)}}return{get:l,update:u,getWireframeAttribute:d,dispose:f}}function qw(i,e,t){let n;function s(h){n=h}let r,o;function a(h){r=h.type,o=h.bytesPerElement}function c(h,d){i.drawElements(n,d,r,h*o),t.update(d,n,1)}function l(h,d,f){f!==0&&(i.drawElementsInstanced(n,d,r,h*o,f),t.update(d,n,f))}function u(h,d,f){if(f===0)return;e.get("WEBGL_multi_draw").multiDrawElementsWEBGL(n,d,0,r,h,0,f);let y=0;for(let m=0;m<f;m++)y+=d[m];t.update(y,n,1)}this.setMode=s,this.setIndex=a,this.render=c,this.renderInstances=l,this.renderMultiDraw=u}function Yw(i){let e={geometries:0,textures:0},t={frame:0,calls:0,triangles:0,points:0,lines:0};function n(r,o,a){switch(t.calls++,o){case i.TRIANGLES:t.triangles+=a*(r/3);break;case i.LINES:t.lines+=a*(r/2);break;case i.LINE_STRIP:t.lines+=a*(r-1);break;case i.LINE_LOOP:t.lines+=a*r;break;case i.POINTS:t.points+=a*r;break;default:et("WebGLInfo: Unknown draw mode:",o);break}}function s(){t.calls=0,t.triangles=0,t.points=0,t.lines=0}return{memory:e,render:t,programs:null,autoReset:!0,reset:s,update:n}}function $w(i,e,t){let n=new WeakMap,s=new Et;function r(o,a,c){let l=o.morphTargetInfluences,u=a.morphAttributes.position||a.morphAttributes.normal||a.morphAttributes.color,h=u!==void 0?u.length:0,d=n.get(a);if(d===void 0||d.count!==h){let F=function(){x.dispose(),n.delete(a),a.removeEventListener("dispose",F)};d!==void 0&&d.texture.dispose();let f=a.morphAttributes.position!==void 0,g=a.morphAttributes.normal!==void 0,y=a.morphAttributes.color!==void 0,m=a.morphAttributes.position||[],p=a.morphAttributes.normal||[],v=a.morphAttributes.color||[],T=0;f===!0&&(T=1),g===!0&&(T=2),y===!0&&(T=3);let S=a.attributes.position.count*T,C=1;S>e.maxTextureSize&&(C=Math.ceil(S/e.maxTextureSize),S=e.maxTextureSize);let E=new Float32Array(S*C*4*h),x=new da(E,S,C,h);x.type=Ui,x.needsUpdate=!0;let A=T*4;for(let L=0;L<h;L++){let I=m[L],k=p[L],V=v[L],N=S*C*4*L;for(let W=0;W<I.count;W++){let $=W*A;f===!0&&(s.fromBufferAttribute(I,W),E[N+$+0]=s.x,E[N+$+1]=s.y,E[N+$+2]=s.z,E[N+$+3]=0),g===!0&&(s.fromBufferAttribute(k,W),E[N+$+4]=s.x,E[N+$+5]=s.y,E[N+$+6]=s.z,E[N+$+7]=0),y===!0&&(s.fromBufferAttribute(V,W),E[N+$+8]=s.x,E[N+$+9]=s.y,E[N+$+10]=s.z,E[N+$+11]=V.itemSize===4?s.w:1)}}d={count:h,texture:x,size:new He(S,C)},n.set(a,d),a.addEventListener("dispose",F)}if(o.isInstancedMesh===!0&&o.morphTexture!==null)c.getUniforms().setValue(i,"morphTexture",o.morphTexture,t);else{let f=0;for(let y=0;y<l.length;y++)f+=l[y];let g=a.morphTargetsRelative?1:1-f;c.getUniforms().setValue(i,"morphTargetBaseInfluence",g),c.getUniforms().setValue(i,"morphTargetInfluences",l)}c.getUniforms().setValue(i,"morphTargetsTexture",d.texture,t),c.getUniforms().setValue(i,"morphTargetsTextureSize",d.size)}return{update:r}}function Zw(i,e,t,n,s){let r=new WeakMap;function o(l){let u=s.render.frame,h=l.geometry,d=e.get(l,h);if(r.get(d)!==u&&(e.update(d),r.set(d,u)),l.isInstancedMesh&&(l.hasEventListener("dispose",c)===!1&&l.addEventListener("dispose",c),r.get(l)!==u&&(t.update(l.instanceMatrix,i.ARRAY_BUFFER),l.instanceColor!==null&&t.update(l.instanceColor,i.ARRAY_BUFFER),r.set(l,u))),l.isSkinnedMesh){let f=l.skeleton;r.get(f)!==u&&(f.update(),r.set(f,u))}return d}function a(){r=new WeakMap}function c(l){let u=l.target;u.removeEventListener("dispose",c),n.releaseStatesOfObject(u),t.remove(u.instanceMatrix),u.instanceColor!==null&&t.remove(u.instanceColor)}return{update:o,dispose:a}}var Jw={[jd]:"LINEAR_TONE_MAPPING",[Qd]:"REINHARD_TONE_MAPPING",[ef]:"CINEON_TONE_MAPPING",[tf]:"ACES_FILMIC_TONE_MAPPING",[sf]:"AGX_TONE_MAPPING",[rf]:"NEUTRAL_TONE_MAPPING",[nf]:"CUSTOM_TONE_MAPPING"};function Kw(i,e,t,n,s,r){let o=new di(e,t,{type:i,depthBuffer:s,stencilBuffer:r,samples:n?4:0,storeMultisampledDepthBuffer:!1,storeMultisampledStencilBuffer:!1,resolveDepthBuffer:!1,resolveStencilBuffer:!1}),a=null,c=null,l=null,u=new Qt;u.setAttribute("position",new mt([-1,3,0,-1,-1,0,3,-1,0],3)),u.setAttribute("uv",new mt([0,2,0,0,2,0],2));let h=new Dc({uniforms:{tDiffuse:{value:null}},vertexShader:`
			precision highp float;

			uniform mat4 modelViewMatrix;
			uniform mat4 projectionMatrix;

			attribute vec3 position;
			attribute vec2 uv;

			varying vec2 vUv;

			void main() {
				vUv = uv;
				gl_Position = projectionMatrix * modelViewMatrix * vec4( position, 1.0 );
			}`,fragmentShader:`
			precision highp float;

			uniform sampler2D tDiffuse;

			varying vec2 vUv;

			#include <tonemapping_pars_fragment>
			#include <colorspace_pars_fragment>

			void main() {
				gl_FragColor = texture2D( tDiffuse, vUv );

				#ifdef LINEAR_TONE_MAPPING
					gl_FragColor.rgb = LinearToneMapping( gl_FragColor.rgb );
				#elif defined( REINHARD_TONE_MAPPING )
					gl_FragColor.rgb = ReinhardToneMapping( gl_FragColor.rgb );
				#elif defined( CINEON_TONE_MAPPING )
					gl_FragColor.rgb = CineonToneMapping( gl_FragColor.rgb );
				#elif defined( ACES_FILMIC_TONE_MAPPING )
					gl_FragColor.rgb = ACESFilmicToneMapping( gl_FragColor.rgb );
				#elif defined( AGX_TONE_MAPPING )
					gl_FragColor.rgb = AgXToneMapping( gl_FragColor.rgb );
				#elif defined( NEUTRAL_TONE_MAPPING )
					gl_FragColor.rgb = NeutralToneMapping( gl_FragColor.rgb );
				#elif defined( CUSTOM_TONE_MAPPING )
					gl_FragColor.rgb = CustomToneMapping( gl_FragColor.rgb );
				#endif

				#ifdef SRGB_TRANSFER
					gl_FragColor = sRGBTransferOETF( gl_FragColor );
				#endif
			}`,depthTest:!1,depthWrite:!1}),d=new en(u,h),f=new Da(-1,1,1,-1,0,1),g=null,y=null,m=!1,p,v=null,T=[],S=!1;this.setSize=function(C,E){o.setSize(C,E),a!==null&&a.setSize(C,E),c!==null&&c.setSize(C,E);for(let x=0;x<T.length;x++){let A=T[x];A.setSize&&A.setSize(C,E)}},this.setEffects=function(C){T=C,S=T.length>0&&T[0].isRenderPass===!0;let E=o.width,x=o.height;T.length>0&&a===null&&(a=new di(E,x,{type:Fi,depthBuffer:!1,stencilBuffer:!1}),c=new di(E,x,{type:Fi,depthBuffer:!1,stencilBuffer:!1}));let A=s===!0&&T.some(F=>F.needsDepthTexture===!0);A!==(o.depthTexture!==null)&&(A===!0&&l===null&&(l=new bs(E,x),r===!0&&(l.format=ws,l.type=mr)),o.dispose(),o.depthTexture=A?l:null,o.resolveDepthBuffer=A,o.storeMultisampledDepthBuffer=A);for(let F=0;F<T.length;F++){let L=T[F];L.setSize&&L.setSize(E,x),A&&L.needsDepthTexture===!0&&L.setDepthTexture&&L.setDepthTexture(l)}},this.begin=function(C,E){if(m||C.toneMapping===Ki&&T.length===0)return!1;if(v=E,E!==null){let x=E.width,A=E.height;(o.width!==x||o.height!==A)&&this.setSize(x,A)}return S===!1&&C.setRenderTarget(o),p=C.toneMapping,C.toneMapping=Ki,!0},this.hasRenderPass=function(){return S},this.end=function(C,E){C.toneMapping=p,m=!0;let x=o,A=a;for(let F=0;F<T.length;F++){let L=T[F];L.enabled!==!1&&(L.render(C,A,x,E),L.needsSwap!==!1&&(x=A,A=A===a?c:a))}if(g!==C.outputColorSpace||y!==C.toneMapping){g=C.outputColorSpace,y=C.toneMapping,h.defines={},xt.getTransfer(g)===At&&(h.defines.SRGB_TRANSFER="");let F=Jw[y];F&&(h.defines[F]=""),h.needsUpdate=!0}h.uniforms.tDiffuse.value=x.texture,C.setRenderTarget(v),C.render(d,f),v=null,m=!1},this.isCompositing=function(){return m},this.dispose=function(){o.dispose(),a!==null&&a.dispose(),c!==null&&c.dispose(),u.dispose(),h.dispose()}}var I_=new Kn,L_=new bs(1,1),D_=new ya(1),N_=new da,U_=new xc,F_=new xa,h_=[],u_=[],d_=new Float32Array(16),f_=new Float32Array(9),p_=new Float32Array(4);function Eo(i,e,t){let n=i[0];if(n<=0||n>0)return i;let s=e*t,r=h_[s];if(r===void 0&&(r=new Float32Array(s),h_[s]=r),e!==0){n.toArray(r,0);for(let o=1,a=0;o!==e;++o)a+=t,i[o].toArray(r,a)}return r}function xn(i,e){if(i.length!==e.length)return!1;for(let t=0,n=i.length;t<n;t++)if(i[t]!==e[t])return!1;return!0}function yn(i,e){for(let t=0,n=e.length;t<n;t++)i[t]=e[t]}function Vh(i,e){let t=u_[e];t===void 0&&(t=new Int32Array(e),u_[e]=t);for(let n=0;n!==e;++n)t[n]=i.allocateTextureUnit();return t}function jw(i,e){let t=this.cache;t[0]!==e&&(i.uniform1f(this.addr,e),t[0]=e)}function Qw(i,e){let t=this.cache;if(e.x!==void 0)(t[0]!==e.x||t[1]!==e.y)&&(i.uniform2f(this.addr,e.x,e.y),t[0]=e.x,t[1]=e.y);else{if(xn(t,e))return;i.uniform2fv(this.addr,e),yn(t,e)}}function e1(i,e){let t=this.cache;if(e.x!==void 0)(t[0]!==e.x||t[1]!==e.y||t[2]!==e.z)&&(i.uniform3f(this.addr,e.x,e.y,e.z),t[0]=e.x,t[1]=e.y,t[2]=e.z);else if(e.r!==void 0)(t[0]!==e.r||t[1]!==e.g||t[2]!==e.b)&&(i.uniform3f(this.addr,e.r,e.g,e.b),t[0]=e.r,t[1]=e.g,t[2]=e.b);else{if(xn(t,e))return;i.uniform3fv(this.addr,e),yn(t,e)}}function t1(i,e){let t=this.cache;if(e.x!==void 0)(t[0]!==e.x||t[1]!==e.y||t[2]!==e.z||t[3]!==e.w)&&(i.uniform4f(this.addr,e.x,e.y,e.z,e.w),t[0]=e.x,t[1]=e.y,t[2]=e.z,t[3]=e.w);else{if(xn(t,e))return;i.uniform4fv(this.addr,e),yn(t,e)}}function n1(i,e){let t=this.cache,n=e.elements;if(n===void 0){if(xn(t,e))return;i.uniformMatrix2fv(this.addr,!1,e),yn(t,e)}else{if(xn(t,n))return;p_.set(n),i.uniformMatrix2fv(this.addr,!1,p_),yn(t,n)}}function i1(i,e){let t=this.cache,n=e.elements;if(n===void 0){if(xn(t,e))return;i.uniformMatrix3fv(this.addr,!1,e),yn(t,e)}else{if(xn(t,n))return;f_.set(n),i.uniformMatrix3fv(this.addr,!1,f_),yn(t,n)}}function s1(i,e){let t=this.cache,n=e.elements;if(n===void 0){if(xn(t,e))return;i.uniformMatrix4fv(this.addr,!1,e),yn(t,e)}else{if(xn(t,n))return;d_.set(n),i.uniformMatrix4fv(this.addr,!1,d_),yn(t,n)}}function r1(i,e){let t=this.cache;t[0]!==e&&(i.uniform1i(this.addr,e),t[0]=e)}function o1(i,e){let t=this.cache;if(e.x!==void 0)(t[0]!==e.x||t[1]!==e.y)&&(i.uniform2i(this.addr,e.x,e.y),t[0]=e.x,t[1]=e.y);else{if(xn(t,e))return;i.uniform2iv(this.addr,e),yn(t,e)}}function a1(i,e){let t=this.cache;if(e.x!==void 0)(t[0]!==e.x||t[1]!==e.y||t[2]!==e.z)&&(i.uniform3i(this.addr,e.x,e.y,e.z),t[0]=e.x,t[1]=e.y,t[2]=e.z);else{if(xn(t,e))return;i.uniform3iv(this.addr,e),yn(t,e)}}function l1(i,e){let t=this.cache;if(e.x!==void 0)(t[0]!==e.x||t[1]!==e.y||t[2]!==e.z||t[3]!==e.w)&&(i.uniform4i(this.addr,e.x,e.y,e.z,e.w),t[0]=e.x,t[1]=e.y,t[2]=e.z,t[3]=e.w);else{if(xn(t,e))return;i.uniform4iv(this.addr,e),yn(t,e)}}function c1(i,e){let t=this.cache;t[0]!==e&&(i.uniform1ui(this.addr,e),t[0]=e)}function h1(i,e){let t=this.cache;if(e.x!==void 0)(t[0]!==e.x||t[1]!==e.y)&&(i.uniform2ui(this.addr,e.x,e.y),t[0]=e.x,t[1]=e.y);else{if(xn(t,e))return;i.uniform2uiv(this.addr,e),yn(t,e)}}function u1(i,e){let t=this.cache;if(e.x!==void 0)(t[0]!==e.x||t[1]!==e.y||t[2]!==e.z)&&(i.uniform3ui(this.addr,e.x,e.y,e.z),t[0]=e.x,t[1]=e.y,t[2]=e.z);else{if(xn(t,e))return;i.uniform3uiv(this.addr,e),yn(t,e)}}function d1(i,e){let t=this.cache;if(e.x!==void 0)(t[0]!==e.x||t[1]!==e.y||t[2]!==e.z||t[3]!==e.w)&&(i.uniform4ui(this.addr,e.x,e.y,e.z,e.w),t[0]=e.x,t[1]=e.y,t[2]=e.z,t[3]=e.w);else{if(xn(t,e))return;i.uniform4uiv(this.addr,e),yn(t,e)}}function Gh(i){return i.version===0&&(i.compareFunction=gf,i.needsUpdate=!0),i}function f1(i,e,t){let n=this.cache,s=t.allocateTextureUnit();n[0]!==s&&(i.uniform1i(this.addr,s),n[0]=s);let r;this.type===i.SAMPLER_2D_SHADOW?r=Gh(L_):r=I_,t.setTexture2D(e||r,s)}function p1(i,e,t){let n=this.cache,s=t.allocateTextureUnit();n[0]!==s&&(i.uniform1i(this.addr,s),n[0]=s),t.setTexture3D(e||U_,s)}function m1(i,e,t){let n=this.cache,s=t.allocateTextureUnit();n[0]!==s&&(i.uniform1i(this.addr,s),n[0]=s);let r;this.type===i.SAMPLER_CUBE_SHADOW?r=Gh(D_):r=F_,t.setTextureCube(e||r,s)}function g1(i,e,t){let n=this.cache,s=t.allocateTextureUnit();n[0]!==s&&(i.uniform1i(this.addr,s),n[0]=s),t.setTexture2DArray(e||N_,s)}function _1(i){switch(i){case 5126:return jw;case 35664:return Qw;case 35665:return e1;case 35666:return t1;case 35674:return n1;case 35675:return i1;case 35676:return s1;case 5124:case 35670:return r1;case 35667:case 35671:return o1;case 35668:case 35672:return a1;case 35669:case 35673:return l1;case 5125:return c1;case 36294:return h1;case 36295:return u1;case 36296:return d1;case 35678:case 36198:case 36298:case 36306:case 35682:return f1;case 35679:case 36299:case 36307:return p1;case 35680:case 36300:case 36308:case 36293:return m1;case 36289:case 36303:case 36311:case 36292:return g1}}function x1(i,e){i.uniform1fv(this.addr,e)}function y1(i,e){let t=Eo(e,this.size,2);i.uniform2fv(this.addr,t)}function v1(i,e){let t=Eo(e,this.size,3);i.uniform3fv(this.addr,t)}function S1(i,e){let t=Eo(e,this.size,4);i.uniform4fv(this.addr,t)}function b1(i,e){let t=Eo(e,this.size,4);i.uniformMatrix2fv(this.addr,!1,t)}function M1(i,e){let t=Eo(e,this.size,9);i.uniformMatrix3fv(this.addr,!1,t)}function w1(i,e){let t=Eo(e,this.size,16);i.uniformMatrix4fv(this.addr,!1,t)}function A1(i,e){i.uniform1iv(this.addr,e)}function E1(i,e){i.uniform2iv(this.addr,e)}function T1(i,e){i.uniform3iv(this.addr,e)}function C1(i,e){i.uniform4iv(this.addr,e)}function R1(i,e){i.uniform1uiv(this.addr,e)}function P1(i,e){i.uniform2uiv(this.addr,e)}function I1(i,e){i.uniform3uiv(this.addr,e)}function L1(i,e){i.uniform4uiv(this.addr,e)}function D1(i,e,t){let n=this.cache,s=e.length,r=Vh(t,s);xn(n,r)||(i.uniform1iv(this.addr,r),yn(n,r));let o;this.type===i.SAMPLER_2D_SHADOW?o=Gh(L_):o=I_;for(let a=0;a!==s;++a)t.setTexture2D(e[a]||o,r[a])}function N1(i,e,t){let n=this.cache,s=e.length,r=Vh(t,s);xn(n,r)||(i.uniform1iv(this.addr,r),yn(n,r));for(let o=0;o!==s;++o)t.setTexture3D(e[o]||U_,r[o])}function U1(i,e,t){let n=this.cache,s=e.length,r=Vh(t,s);xn(n,r)||(i.uniform1iv(this.addr,r),yn(n,r));let o;this.type===i.SAMPLER_CUBE_SHADOW?o=Gh(D_):o=F_;for(let a=0;a!==s;++a)t.setTextureCube(e[a]||o,r[a])}function F1(i,e,t){let n=this.cache,s=e.length,r=Vh(t,s);xn(n,r)||(i.uniform1iv(this.addr,r),yn(n,r));for(let o=0;o!==s;++o)t.setTexture2DArray(e[o]||N_,r[o])}function O1(i){switch(i){case 5126:return x1;case 35664:return y1;case 35665:return v1;case 35666:return S1;case 35674:return b1;case 35675:return M1;case 35676:return w1;case 5124:case 35670:return A1;case 35667:case 35671:return E1;case 35668:case 35672:return T1;case 35669:case 35673:return C1;case 5125:return R1;case 36294:return P1;case 36295:return I1;case 36296:return L1;case 35678:case 36198:case 36298:case 36306:case 35682:return D1;case 35679:case 36299:case 36307:return N1;case 35680:case 36300:case 36308:case 36293:return U1;case 36289:case 36303:case 36311:case 36292:return F1}}var Ff=class{constructor(e,t,n){this.id=e,this.addr=n,this.cache=[],this.type=t.type,this.setValue=_1(t.type)}},Of=class{constructor(e,t,n){this.id=e,this.addr=n,this.cache=[],this.type=t.type,this.size=t.size,this.setValue=O1(t.type)}},Bf=class{constructor(e){this.id=e,this.seq=[],this.map={}}setValue(e,t,n){let s=this.seq;for(let r=0,o=s.length;r!==o;++r){let a=s[r];a.setValue(e,t[a.id],n)}}},Nf=/(\w+)(\])?(\[|\.)?/g;function m_(i,e){i.seq.push(e),i.map[e.id]=e}function B1(i,e,t){let n=i.name,s=n.length;for(Nf.lastIndex=0;;){let r=Nf.exec(n),o=Nf.lastIndex,a=r[1],c=r[2]==="]",l=r[3];if(c&&(a=a|0),l===void 0||l==="["&&o+2===s){m_(t,l===void 0?new Ff(a,i,e):new Of(a,i,e));break}else{let h=t.map[a];h===void 0&&(h=new Bf(a),m_(t,h)),t=h}}}var Ao=class{constructor(e,t){this.seq=[],this.map={};let n=e.getProgramParameter(t,e.ACTIVE_UNIFORMS);for(let o=0;o<n;++o){let a=e.getActiveUniform(t,o),c=e.getUniformLocation(t,a.name);B1(a,c,this)}let s=[],r=[];for(let o of this.seq)o.type===e.SAMPLER_2D_SHADOW||o.type===e.SAMPLER_CUBE_SHADOW||o.type===e.SAMPLER_2D_ARRAY_SHADOW?s.push(o):r.push(o);s.length>0&&(this.seq=s.concat(r))}setValue(e,t,n,s){let r=this.map[t];r!==void 0&&r.setValue(e,n,s)}setOptional(e,t,n){let s=t[n];s!==void 0&&this.setValue(e,n,s)}static upload(e,t,n,s){for(let r=0,o=t.length;r!==o;++r){let a=t[r],c=n[a.id];c.needsUpdate!==!1&&a.setValue(e,c.value,s)}}static seqWithValue(e,t){let n=[];for(let s=0,r=e.length;s!==r;++s){let o=e[s];o.id in t&&n.push(o)}return n}};function g_(i,e,t){let n=i.createShader(e);return i.shaderSource(n,t),i.compileShader(n),n}var k1=37297,z1=0;function V1(i,e){let t=i.split(`
`),n=[],s=Math.max(e-6,0),r=Math.min(e+6,t.length);for(let o=s;o<r;o++){let a=o+1;n.push(`${a===e?">":" "} ${a}: ${t[o]}`)}return n.join(`
`)}var __=new tt;function G1(i){xt._getMatrix(__,xt.workingColorSpace,i);let e=`mat3( ${__.elements.map(t=>t.toFixed(4))} )`;switch(xt.getTransfer(i)){case ca:return[e,"LinearTransferOETF"];case At:return[e,"sRGBTransferOETF"];default:return Ye("WebGLProgram: Unsupported color space: ",i),[e,"LinearTransferOETF"]}}function x_(i,e,t){let n=i.getShaderParameter(e,i.COMPILE_STATUS),r=(i.getShaderInfoLog(e)||"").trim();if(n&&r==="")return"";let o=/ERROR: 0:(\d+)/.exec(r);if(o){let a=parseInt(o[1]);return t.toUpperCase()+`

`+r+`

`+V1(i.getShaderSource(e),a)}else return r}function H1(i,e){let t=G1(e);return[`vec4 ${i}( vec4 value ) {`,`	return ${t[1]}( vec4( ${t[0]} * value.rgb, value.a ) );`,"}"].join(`
`)}var W1={[jd]:"Linear",[Qd]:"Reinhard",[ef]:"Cineon",[tf]:"ACESFilmic",[sf]:"AgX",[rf]:"Neutral",[nf]:"Custom"};function X1(i,e){let t=W1[e];return t===void 0?(Ye("WebGLProgram: Unsupported toneMapping:",e),"vec3 "+i+"( vec3 color ) { return LinearToneMapping( color ); }"):"vec3 "+i+"( vec3 color ) { return "+t+"ToneMapping( color ); }"}var Bh=new U;function q1(){xt.getLuminanceCoefficients(Bh);let i=Bh.x.toFixed(4),e=Bh.y.toFixed(4),t=Bh.z.toFixed(4);return["float luminance( const in vec3 rgb ) {",`	const vec3 weights = vec3( ${i}, ${e}, ${t} );`,"	return dot( weights, rgb );","}"].join(`
`)}function Y1(i){return[i.extensionClipCullDistance?"#extension GL_ANGLE_clip_cull_distance : require":"",i.extensionMultiDraw?"#extension GL_ANGLE_multi_draw : require":""].filter($a).join(`
`)}function $1(i){let e=[];for(let t in i){let n=i[t];n!==!1&&e.push("#define "+t+" "+n)}return e.join(`
`)}function Z1(i,e){let t={},n=i.getProgramParameter(e,i.ACTIVE_ATTRIBUTES);for(let s=0;s<n;s++){let r=i.getActiveAttrib(e,s),o=r.name,a=1;r.type===i.FLOAT_MAT2&&(a=2),r.type===i.FLOAT_MAT3&&(a=3),r.type===i.FLOAT_MAT4&&(a=4),t[o]={type:r.type,location:i.getAttribLocation(e,o),locationSize:a}}return t}function $a(i){return i!==""}function y_(i,e){let t=e.numSpotLightShadows+e.numSpotLightMaps-e.numSpotLightShadowsWithMaps;return i.replace(/NUM_SUN_LIGHTS/g,e.numSunLights).replace(/NUM_DIR_LIGHTS/g,e.numDirLights).replace(/NUM_SPOT_LIGHTS/g,e.numSpotLights).replace(/NUM_SPOT_LIGHT_MAPS/g,e.numSpotLightMaps).replace(/NUM_SPOT_LIGHT_COORDS/g,t).replace(/NUM_RECT_AREA_LIGHTS/g,e.numRectAreaLights).replace(/NUM_POINT_LIGHTS/g,e.numPointLights).replace(/NUM_HEMI_LIGHTS/g,e.numHemiLights).replace(/NUM_SUN_LIGHT_SHADOWS/g,e.numSunLightShadows).replace(/NUM_DIR_LIGHT_SHADOWS/g,e.numDirLightShadows).replace(/NUM_SPOT_LIGHT_SHADOWS_WITH_MAPS/g,e.numSpotLightShadowsWithMaps).replace(/NUM_SPOT_LIGHT_SHADOWS/g,e.numSpotLightShadows).replace(/NUM_POINT_LIGHT_SHADOWS/g,e.numPointLightShadows).replace(/NUM_LIGHT_PROBE_GRIDS/g,e.numLightProbeGrids)}function v_(i,e){return i.replace(/NUM_CLIPPING_PLANES/g,e.numClippingPlanes).replace(/UNION_CLIPPING_PLANES/g,e.numClippingPlanes-e.numClipIntersection)}var J1=/^[ \t]*#include +<([\w\d./]+)>/gm;function kf(i){return i.replace(J1,K1)}function K1(i,e){let t=ht[e];if(t===void 0)throw new Error("THREE.WebGLProgram: Can not resolve #include <"+e+">");return kf(t)}var j1=/#pragma unroll_loop_start\s+for\s*\(\s*int\s+i\s*=\s*(\d+)\s*;\s*i\s*<\s*(\d+)\s*;\s*i\s*\+\+\s*\)\s*{([\s\S]+?)}\s+#pragma unroll_loop_end/g;function S_(i){return i.replace(j1,Q1)}function Q1(i,e,t,n){let s="";for(let r=parseInt(e);r<parseInt(t);r++)s+=n.replace(/\[\s*i\s*\]/g,"[ "+r+" ]").replace(/UNROLLED_LOOP_INDEX/g,r);return s}function b_(i){let e=`precision ${i.precision} float;
	precision ${i.precision} int;
	precision ${i.precision} sampler2D;
	precision ${i.precision} samplerCube;
	precision ${i.precision} sampler3D;
	precision ${i.precision} sampler2DArray;
	precision ${i.precision} sampler2DShadow;
	precision ${i.precision} samplerCubeShadow;
	precision ${i.precision} sampler2DArrayShadow;
	precision ${i.precision} isampler2D;
	precision ${i.precision} isampler3D;
	precision ${i.precision} isamplerCube;
	precision ${i.precision} isampler2DArray;
	precision ${i.precision} usampler2D;
	precision ${i.precision} usampler3D;
	precision ${i.precision} usamplerCube;
	precision ${i.precision} usampler2DArray;
	`;return i.precision==="highp"?e+=`
#define HIGH_PRECISION`:i.precision==="mediump"?e+=`
#define MEDIUM_PRECISION`:i.precision==="lowp"&&(e+=`
#define LOW_PRECISION`),e}var eA={[Ba]:"SHADOWMAP_TYPE_PCF",[So]:"SHADOWMAP_TYPE_VSM"};function tA(i){return eA[i.shadowMapType]||"SHADOWMAP_TYPE_BASIC"}var nA={[Mo]:"ENVMAP_MODE_REFRACTION"};function iA(i){return i.envMap===!1?"ENVMAP_MODE_REFLECTION":nA[i.envMapMode]||"ENVMAP_MODE_REFLECTION"}var sA={[Zc]:"ENVMAP_BLENDING_MULTIPLY",[G0]:"ENVMAP_BLENDING_MIX",[H0]:"ENVMAP_BLENDING_ADD"};function rA(i){return i.envMap===!1?"ENVMAP_BLENDING_NONE":sA[i.combine]||"ENVMAP_BLENDING_NONE"}function oA(i,e,t,n){let s=i.getContext(),r=t.defines,o=t.vertexShader,a=t.fragmentShader,c=tA(t),l=t.envMapPMREM===!0?"ENVMAP_TYPE_PMREM":"ENVMAP_TYPE_CUBE",u=iA(t),h=rA(t),d=Y1(t),f=$1(r),g=s.createProgram(),y,m,p=t.glslVersion?"#version "+t.glslVersion+`
`:"";t.isRawShaderMaterial?(y=["#define SHADER_TYPE "+t.shaderType,"#define SHADER_NAME "+t.shaderName,f].filter($a).join(`
`),y.length>0&&(y+=`
`),m=["#define SHADER_TYPE "+t.shaderType,"#define SHADER_NAME "+t.shaderName,f].filter($a).join(`
`),m.length>0&&(m+=`
`)):(y=[b_(t),"#define SHADER_TYPE "+t.shaderType,"#define SHADER_NAME "+t.shaderName,f,t.extensionClipCullDistance?"#define USE_CLIP_DISTANCE":"",t.batching?"#define USE_BATCHING":"",t.batchingColor?"#define USE_BATCHING_COLOR":"",t.instancing?"#define USE_INSTANCING":"",t.instancingColor?"#define USE_INSTANCING_COLOR":"",t.instancingMorph?"#define USE_INSTANCING_MORPH":"",t.useFog&&t.fog?"#define USE_FOG":"",t.useFog&&t.fogExp2?"#define FOG_EXP2":"",t.map?"#define USE_MAP":"",t.envMap?"#define USE_ENVMAP":"",t.envMap?"#define "+u:"",t.lightMap?"#define USE_LIGHTMAP":"",t.aoMap?"#define USE_AOMAP":"",t.bumpMap?"#define USE_BUMPMAP":"",t.normalMap?"#define USE_NORMALMAP":"",t.normalMapObjectSpace?"#define USE_NORMALMAP_OBJECTSPACE":"",t.normalMapTangentSpace?"#define USE_NORMALMAP_TANGENTSPACE":"",t.displacementMap?"#define USE_DISPLACEMENTMAP":"",t.emissiveMap?"#define USE_EMISSIVEMAP":"",t.anisotropy?"#define USE_ANISOTROPY":"",t.anisotropyMap?"#define USE_ANISOTROPYMAP":"",t.clearcoatMap?"#define USE_CLEARCOATMAP":"",t.clearcoatRoughnessMap?"#define USE_CLEARCOAT_ROUGHNESSMAP":"",t.clearcoatNormalMap?"#define USE_CLEARCOAT_NORMALMAP":"",t.diffuseRoughnessMap?"#define USE_DIFFUSE_ROUGHNESSMAP":"",t.iridescenceMap?"#define USE_IRIDESCENCEMAP":"",t.iridescenceThicknessMap?"#define USE_IRIDESCENCE_THICKNESSMAP":"",t.specularMap?"#define USE_SPECULARMAP":"",t.specularColorMap?"#define USE_SPECULAR_COLORMAP":"",t.specularIntensityMap?"#define USE_SPECULAR_INTENSITYMAP":"",t.roughnessMap?"#define USE_ROUGHNESSMAP":"",t.metalnessMap?"#define USE_METALNESSMAP":"",t.alphaMap?"#define USE_ALPHAMAP":"",t.alphaHash?"#define USE_ALPHAHASH":"",t.transmission?"#define USE_TRANSMISSION":"",t.transmissionMap?"#define USE_TRANSMISSIONMAP":"",t.thicknessMap?"#define USE_THICKNESSMAP":"",t.sheenColorMap?"#define USE_SHEEN_COLORMAP":"",t.sheenRoughnessMap?"#define USE_SHEEN_ROUGHNESSMAP":"",t.mapUv?"#define MAP_UV "+t.mapUv:"",t.alphaMapUv?"#define ALPHAMAP_UV "+t.alphaMapUv:"",t.lightMapUv?"#define LIGHTMAP_UV "+t.lightMapUv:"",t.aoMapUv?"#define AOMAP_UV "+t.aoMapUv:"",t.emissiveMapUv?"#define EMISSIVEMAP_UV "+t.emissiveMapUv:"",t.bumpMapUv?"#define BUMPMAP_UV "+t.bumpMapUv:"",t.normalMapUv?"#define NORMALMAP_UV "+t.normalMapUv:"",t.displacementMapUv?"#define DISPLACEMENTMAP_UV "+t.displacementMapUv:"",t.metalnessMapUv?"#define METALNESSMAP_UV "+t.metalnessMapUv:"",t.roughnessMapUv?"#define ROUGHNESSMAP_UV "+t.roughnessMapUv:"",t.anisotropyMapUv?"#define ANISOTROPYMAP_UV "+t.anisotropyMapUv:"",t.clearcoatMapUv?"#define CLEARCOATMAP_UV "+t.clearcoatMapUv:"",t.clearcoatNormalMapUv?"#define CLEARCOAT_NORMALMAP_UV "+t.clearcoatNormalMapUv:"",t.clearcoatRoughnessMapUv?"#define CLEARCOAT_ROUGHNESSMAP_UV "+t.clearcoatRoughnessMapUv:"",t.diffuseRoughnessMapUv?"#define DIFFUSE_ROUGHNESSMAP_UV "+t.diffuseRoughnessMapUv:"",t.iridescenceMapUv?"#define IRIDESCENCEMAP_UV "+t.iridescenceMapUv:"",t.iridescenceThicknessMapUv?"#define IRIDESCENCE_THICKNESSMAP_UV "+t.iridescenceThicknessMapUv:"",t.sheenColorMapUv?"#define SHEEN_COLORMAP_UV "+t.sheenColorMapUv:"",t.sheenRoughnessMapUv?"#define SHEEN_ROUGHNESSMAP_UV "+t.sheenRoughnessMapUv:"",t.specularMapUv?"#define SPECULARMAP_UV "+t.specularMapUv:"",t.specularColorMapUv?"#define SPECULAR_COLORMAP_UV "+t.specularColorMapUv:"",t.specularIntensityMapUv?"#define SPECULAR_INTENSITYMAP_UV "+t.specularIntensityMapUv:"",t.transmissionMapUv?"#define TRANSMISSIONMAP_UV "+t.transmissionMapUv:"",t.thicknessMapUv?"#define THICKNESSMAP_UV "+t.thicknessMapUv:"",t.vertexTangents&&t.flatShading===!1?"#define USE_TANGENT":"",t.vertexNormals?"#define HAS_NORMAL":"",t.vertexColors?"#define USE_COLOR":"",t.vertexAlphas?"#define USE_COLOR_ALPHA":"",t.vertexUv1s?"#define USE_UV1":"",t.vertexUv2s?"#define USE_UV2":"",t.vertexUv3s?"#define USE_UV3":"",t.pointsUvs?"#define USE_POINTS_UV":"",t.flatShading?"#define FLAT_SHADED":"",t.skinning?"#define USE_SKINNING":"",t.morphTargets?"#define USE_MORPHTARGETS":"",t.morphNormals&&t.flatShading===!1?"#define USE_MORPHNORMALS":"",t.morphColors?"#define USE_MORPHCOLORS":"",t.morphTargetsCount>0?"#define MORPHTARGETS_TEXTURE_STRIDE "+t.morphTextureStride:"",t.morphTargetsCount>0?"#define MORPHTARGETS_COUNT "+t.morphTargetsCount:"",t.doubleSided?"#define DOUBLE_SIDED":"",t.flipSided?"#define FLIP_SIDED":"",t.shadowMapEnabled?"#define USE_SHADOWMAP":"",t.shadowMapEnabled?"#define "+c:"",t.sizeAttenuation?"#define USE_SIZEATTENUATION":"",t.numLightProbes>0?"#define USE_LIGHT_PROBES":"",t.logarithmicDepthBuffer?"#define USE_LOGARITHMIC_DEPTH_BUFFER":"",t.reversedDepthBuffer?"#define USE_REVERSED_DEPTH_BUFFER":"","uniform mat4 modelMatrix;","uniform mat4 modelViewMatrix;","uniform mat4 projectionMatrix;","uniform mat4 viewMatrix;","uniform mat3 normalMatrix;","uniform vec3 cameraPosition;","uniform bool isOrthographic;","#ifdef USE_INSTANCING","	attribute mat4 instanceMatrix;","#endif","#ifdef USE_INSTANCING_COLOR","	attribute vec3 instanceColor;","#endif","#ifdef USE_INSTANCING_MORPH","	uniform sampler2D morphTexture;","#endif","attribute vec3 position;","attribute vec3 normal;","attribute vec2 uv;","#ifdef USE_UV1","	attribute vec2 uv1;","#endif","#ifdef USE_UV2","	attribute vec2 uv2;","#endif","#ifdef USE_UV3","	attribute vec2 uv3;","#endif","#ifdef USE_TANGENT","	attribute vec4 tangent;","#endif","#if defined( USE_COLOR_ALPHA )","	attribute vec4 color;","#elif defined( USE_COLOR )","	attribute vec3 color;","#endif","#ifdef USE_SKINNING","	attribute vec4 skinIndex;","	attribute vec4 skinWeight;","#endif",`
`].filter($a).join(`
`),m=[b_(t),"#define SHADER_TYPE "+t.shaderType,"#define SHADER_NAME "+t.shaderName,f,t.useFog&&t.fog?"#define USE_FOG":"",t.useFog&&t.fogExp2?"#define FOG_EXP2":"",t.alphaToCoverage?"#define ALPHA_TO_COVERAGE":"",t.map?"#define USE_MAP":"",t.matcap?"#define USE_MATCAP":"",t.envMap?"#define USE_ENVMAP":"",t.envMap?"#define "+l:"",t.envMap?"#define "+u:"",t.envMap?"#define "+h:"",t.envMapPMREM?"#define ENVMAP_MAX_LOD "+t.envMapMaxLod+".0":"",t.envMapPMREM?"#define ENVMAP_SIZE "+t.envMapSize+".0":"",t.lightMap?"#define USE_LIGHTMAP":"",t.aoMap?"#define USE_AOMAP":"",t.bumpMap?"#define USE_BUMPMAP":"",t.normalMap?"#define USE_NORMALMAP":"",t.normalMapObjectSpace?"#define USE_NORMALMAP_OBJECTSPACE":"",t.normalMapTangentSpace?"#define USE_NORMALMAP_TANGENTSPACE":"",t.packedNormalMap?"#define USE_PACKED_NORMALMAP":"",t.emissiveMap?"#define USE_EMISSIVEMAP":"",t.anisotropy?"#define USE_ANISOTROPY":"",t.anisotropyMap?"#define USE_ANISOTROPYMAP":"",t.clearcoat?"#define USE_CLEARCOAT":"",t.clearcoatMap?"#define USE_CLEARCOATMAP":"",t.clearcoatRoughnessMap?"#define USE_CLEARCOAT_ROUGHNESSMAP":"",t.clearcoatNormalMap?"#define USE_CLEARCOAT_NORMALMAP":"",t.diffuseRoughness?"#define USE_DIFFUSE_ROUGHNESS":"",t.diffuseRoughnessMap?"#define USE_DIFFUSE_ROUGHNESSMAP":"",t.dispersion?"#define USE_DISPERSION":"",t.retroreflection?"#define USE_RETROREFLECTION":"",t.iridescence?"#define USE_IRIDESCENCE":"",t.iridescenceMap?"#define USE_IRIDESCENCEMAP":"",t.iridescenceThicknessMap?"#define USE_IRIDESCENCE_THICKNESSMAP":"",t.specularMap?"#define USE_SPECULARMAP":"",t.specularColorMap?"#define USE_SPECULAR_COLORMAP":"",t.specularIntensityMap?"#define USE_SPECULAR_INTENSITYMAP":"",t.roughnessMap?"#define USE_ROUGHNESSMAP":"",t.metalnessMap?"#define USE_METALNESSMAP":"",t.alphaMap?"#define USE_ALPHAMAP":"",t.alphaTest?"#define USE_ALPHATEST":"",t.alphaHash?"#define USE_ALPHAHASH":"",t.sheen?"#define USE_SHEEN":"",t.sheenColorMap?"#define USE_SHEEN_COLORMAP":"",t.sheenRoughnessMap?"#define USE_SHEEN_ROUGHNESSMAP":"",t.transmission?"#define USE_TRANSMISSION":"",t.transmissionMap?"#define USE_TRANSMISSIONMAP":"",t.thicknessMap?"#define USE_THICKNESSMAP":"",t.vertexTangents&&t.flatShading===!1?"#define USE_TANGENT":"",t.vertexColors||t.instancingColor?"#define USE_COLOR":"",t.vertexAlphas||t.batchingColor?"#define USE_COLOR_ALPHA":"",t.vertexUv1s?"#define USE_UV1":"",t.vertexUv2s?"#define USE_UV2":"",t.vertexUv3s?"#define USE_UV3":"",t.pointsUvs?"#define USE_POINTS_UV":"",t.gradientMap?"#define USE_GRADIENTMAP":"",t.flatShading?"#define FLAT_SHADED":"",t.doubleSided?"#define DOUBLE_SIDED":"",t.flipSided?"#define FLIP_SIDED":"",t.shadowMapEnabled?"#define USE_SHADOWMAP":"",t.shadowMapEnabled?"#define "+c:"",t.premultipliedAlpha?"#define PREMULTIPLIED_ALPHA":"",t.numLightProbes>0?"#define USE_LIGHT_PROBES":"",t.decodeVideoTexture?"#define DECODE_VIDEO_TEXTURE":"",t.decodeVideoTextureEmissive?"#define DECODE_VIDEO_TEXTURE_EMISSIVE":"",t.logarithmicDepthBuffer?"#define USE_LOGARITHMIC_DEPTH_BUFFER":"",t.reversedDepthBuffer?"#define USE_REVERSED_DEPTH_BUFFER":"","uniform mat4 viewMatrix;","uniform vec3 cameraPosition;","uniform bool isOrthographic;",t.toneMapping!==Ki?"#define TONE_MAPPING":"",t.toneMapping!==Ki?ht.tonemapping_pars_fragment:"",t.toneMapping!==Ki?X1("toneMapping",t.toneMapping):"",t.dithering?"#define DITHERING":"",t.opaque?"#define OPAQUE":"",ht.colorspace_pars_fragment,H1("linearToOutputTexel",t.outputColorSpace),q1(),t.useDepthPacking?"#define DEPTH_PACKING "+t.depthPacking:"",`
`].filter($a).join(`
`)),o=kf(o),o=y_(o,t),o=v_(o,t),a=kf(a),a=y_(a,t),a=v_(a,t),o=S_(o),a=S_(a),t.isRawShaderMaterial!==!0&&(p=`#version 300 es
`,y=[d,"#define attribute in","#define varying out","#define texture2D texture"].join(`
`)+`
`+y,m=["#define varying in",t.glslVersion===xf?"":"layout(location = 0) out highp vec4 pc_fragColor;",t.glslVersion===xf?"":"#define gl_FragColor pc_fragColor","#define gl_FragDepthEXT gl_FragDepth","#define texture2D texture","#define textureCube texture","#define texture2DProj textureProj","#define texture2DLodEXT textureLod","#define texture2DProjLodEXT textureProjLod","#define textureCubeLodEXT textureLod","#define texture2DGradEXT textureGrad","#define texture2DProjGradEXT textureProjGrad","#define textureCubeGradEXT textureGrad"].join(`
`)+`
`+m);let v=p+y+o,T=p+m+a,S=g_(s,s.VERTEX_SHADER,v),C=g_(s,s.FRAGMENT_SHADER,T);s.attachShader(g,S),s.attachShader(g,C),t.index0AttributeName!==void 0?s.bindAttribLocation(g,0,t.index0AttributeName):t.hasPositionAttribute===!0&&s.bindAttribLocation(g,0,"position"),s.linkProgram(g);function E(L){if(i.debug.checkShaderErrors){let I=s.getProgramInfoLog(g)||"",k=s.getShaderInfoLog(S)||"",V=s.getShaderInfoLog(C)||"",N=I.trim(),W=k.trim(),$=V.trim(),H=!0,ce=!0;if(s.getProgramParameter(g,s.LINK_STATUS)===!1)if(H=!1,typeof i.debug.onShaderError=="function")i.debug.onShaderError(s,g,S,C);else{let K=x_(s,S,"vertex"),Q=x_(s,C,"fragment");et("WebGLProgram: Shader Error "+s.getError()+" - VALIDATE_STATUS "+s.getProgramParameter(g,s.VALIDATE_STATUS)+`

Material Name: `+L.name+`
Material Type: `+L.type+`

Program Info Log: `+N+`
`+K+`
`+Q)}else N!==""?Ye("WebGLProgram: Program Info Log:",N):(W===""||$==="")&&(ce=!1);ce&&(L.diagnostics={runnable:H,programLog:N,vertexShader:{log:W,prefix:y},fragmentShader:{log:$,prefix:m}})}s.deleteShader(S),s.deleteShader(C),x=new Ao(s,g),A=Z1(s,g)}let x;this.getUniforms=function(){return x===void 0&&E(this),x};let A;this.getAttributes=function(){return A===void 0&&E(this),A};let F=t.rendererExtensionParallelShaderCompile===!1;return this.isReady=function(){return F===!1&&(F=s.getProgramParameter(g,k1)),F},this.destroy=function(){n.releaseStatesOfProgram(this),s.deleteProgram(g),this.program=void 0},this.type=t.shaderType,this.name=t.shaderName,this.id=z1++,this.cacheKey=e,this.usedTimes=1,this.program=g,this.vertexShader=S,this.fragmentShader=C,this}var aA=0,zf=class{constructor(){this.shaderCache=new Map,this.materialCache=new Map}update(e,t,n){let s=this._getShaderCacheForMaterial(e);return s.has(t)===!1&&(s.add(t),t.usedTimes++),s.has(n)===!1&&(s.add(n),n.usedTimes++),this}remove(e){let t=this.materialCache.get(e);for(let n of t)n.usedTimes--,n.usedTimes===0&&this.shaderCache.delete(n.code);return this.materialCache.delete(e),this}getVertexShaderStage(e){return this._getShaderStage(e.vertexShader)}getFragmentShaderStage(e){return this._getShaderStage(e.fragmentShader)}dispose(){this.shaderCache.clear(),this.materialCache.clear()}_getShaderCacheForMaterial(e){let t=this.materialCache,n=t.get(e);return n===void 0&&(n=new Set,t.set(e,n)),n}_getShaderStage(e){let t=this.shaderCache,n=t.get(e);return n===void 0&&(n=new Vf(e),t.set(e,n)),n}},Vf=class{constructor(e){this.id=aA++,this.code=e,this.usedTimes=0}};function lA(i){return i===Ys||i===Wa||i===Xa}function cA(i,e,t,n,s,r){let o=new fa,a=new zf,c=new Set,l=[],u=new Map,h=n.logarithmicDepthBuffer,d={MeshDepthMaterial:"depth",MeshDistanceMaterial:"distance",MeshNormalMaterial:"normal",MeshBasicMaterial:"basic",MeshLambertMaterial:"lambert",MeshPhongMaterial:"phong",MeshToonMaterial:"toon",MeshStandardMaterial:"physical",MeshPhysicalMaterial:"physical",MeshMatcapMaterial:"matcap",LineBasicMaterial:"basic",LineDashedMaterial:"dashed",PointsMaterial:"points",ShadowMaterial:"shadow",SpriteMaterial:"sprite"};function f(x){return c.add(x),x===0?"uv":`uv${x}`}function g(x,A,F,L,I,k){let V=L.fog,N=I.geometry,W=x.isMeshStandardMaterial||x.isMeshLambertMaterial||x.isMeshPhongMaterial?L.environment:null,$=x.isMeshStandardMaterial||x.isMeshLambertMaterial&&!x.envMap||x.isMeshPhongMaterial&&!x.envMap,H=e.get(x.envMap||W,$),ce=d[x.type],K=n.precision;x.precision!==null&&(K=n.getMaxPrecision(x.precision),K!==x.precision&&Ye("WebGLProgram.getParameters:",x.precision,"not supported, using",K,"instead."));let Q=N.morphAttributes.position||N.morphAttributes.normal||N.morphAttributes.color,se=Q!==void 0?Q.length:0,de=0;N.morphAttributes.position!==void 0&&(de=1),N.morphAttributes.normal!==void 0&&(de=2),N.morphAttributes.color!==void 0&&(de=3);let ue,ee,me,xe;if(ce){let Ce=Jn[ce];ue=Ce.vertexShader,ee=Ce.fragmentShader}else{ue=x.vertexShader,ee=x.fragmentShader;let Ce=a.getVertexShaderStage(x),at=a.getFragmentShaderStage(x);a.update(x,Ce,at),me=Ce.id,xe=at.id}let Te=i.getRenderTarget(),be=i.state.buffers.depth.getReversed(),We=I.isInstancedMesh===!0,st=I.isBatchedMesh===!0,Ve=!!x.map,ut=!!x.matcap,lt=!!H,nt=lt&&H.isPMREMTexture===!0,Wt=!!x.aoMap,Ot=!!x.lightMap,rn=!!x.bumpMap&&x.wireframe===!1,It=!!x.normalMap,vn=!!x.displacementMap,yt=!!x.emissiveMap,fn=!!x.metalnessMap,Yt=!!x.roughnessMap,on=x.anisotropy>0,B=x.clearcoat>0,Re=x.diffuseRoughness>0,$e=x.dispersion>0,rt=x.retroreflectivity>0,Me=x.iridescence>0,Nt=x.sheen>0,ze=x.transmission>0,qe=on&&!!x.anisotropyMap,R=B&&!!x.clearcoatMap,b=B&&!!x.clearcoatNormalMap,q=B&&!!x.clearcoatRoughnessMap,he=Re&&!!x.diffuseRoughnessMap,oe=Me&&!!x.iridescenceMap,_e=Me&&!!x.iridescenceThicknessMap,ye=Nt&&!!x.sheenColorMap,te=Nt&&!!x.sheenRoughnessMap,ie=!!x.specularMap,pe=!!x.specularColorMap,O=!!x.specularIntensityMap,re=ze&&!!x.transmissionMap,ne=ze&&!!x.thicknessMap,we=!!x.gradientMap,ge=!!x.alphaMap,Se=x.alphaTest>0,Ge=!!x.alphaHash,Je=!!x.extensions,le=Ki;x.toneMapped&&(Te===null||Te.isXRRenderTarget===!0)&&(le=i.toneMapping);let Oe=nt?H.isCompressedCubeTexture?H.image[0].mipmaps:H.mipmaps:null,Ke={shaderID:ce,shaderType:x.type,shaderName:x.name,vertexShader:ue,fragmentShader:ee,defines:x.defines,customVertexShaderID:me,customFragmentShaderID:xe,isRawShaderMaterial:x.isRawShaderMaterial===!0,glslVersion:x.glslVersion,precision:K,batching:st,batchingColor:st&&I._colorsTexture!==null,instancing:We,instancingColor:We&&I.instanceColor!==null,instancingMorph:We&&I.morphTexture!==null,outputColorSpace:Te===null?i.outputColorSpace:Te.isXRRenderTarget===!0?Te.texture.colorSpace:xt.workingColorSpace,alphaToCoverage:!!x.alphaToCoverage,map:Ve,matcap:ut,envMap:lt,envMapMode:lt&&H.mapping,envMapPMREM:nt,envMapMaxLod:nt?Oe.length-1:null,envMapSize:nt?Oe[0].width:null,aoMap:Wt,lightMap:Ot,bumpMap:rn,normalMap:It,displacementMap:vn,emissiveMap:yt,normalMapObjectSpace:It&&x.normalMapType===q0,normalMapTangentSpace:It&&x.normalMapType===Uh,packedNormalMap:It&&x.normalMapType===Uh&&lA(x.normalMap.format),metalnessMap:fn,roughnessMap:Yt,anisotropy:on,anisotropyMap:qe,clearcoat:B,clearcoatMap:R,clearcoatNormalMap:b,clearcoatRoughnessMap:q,diffuseRoughness:Re,diffuseRoughnessMap:he,dispersion:$e,retroreflection:rt,iridescence:Me,iridescenceMap:oe,iridescenceThicknessMap:_e,sheen:Nt,sheenColorMap:ye,sheenRoughnessMap:te,specularMap:ie,specularColorMap:pe,specularIntensityMap:O,transmission:ze,transmissionMap:re,thicknessMap:ne,gradientMap:we,opaque:x.transparent===!1&&x.blending===bo&&x.alphaToCoverage===!1,alphaMap:ge,alphaTest:Se,alphaHash:Ge,combine:x.combine,mapUv:Ve&&f(x.map.channel),aoMapUv:Wt&&f(x.aoMap.channel),lightMapUv:Ot&&f(x.lightMap.channel),bumpMapUv:rn&&f(x.bumpMap.channel),normalMapUv:It&&f(x.normalMap.channel),displacementMapUv:vn&&f(x.displacementMap.channel),emissiveMapUv:yt&&f(x.emissiveMap.channel),metalnessMapUv:fn&&f(x.metalnessMap.channel),roughnessMapUv:Yt&&f(x.roughnessMap.channel),anisotropyMapUv:qe&&f(x.anisotropyMap.channel),clearcoatMapUv:R&&f(x.clearcoatMap.channel),clearcoatNormalMapUv:b&&f(x.clearcoatNormalMap.channel),clearcoatRoughnessMapUv:q&&f(x.clearcoatRoughnessMap.channel),diffuseRoughnessMapUv:he&&f(x.diffuseRoughnessMap.channel),iridescenceMapUv:oe&&f(x.iridescenceMap.channel),iridescenceThicknessMapUv:_e&&f(x.iridescenceThicknessMap.channel),sheenColorMapUv:ye&&f(x.sheenColorMap.channel),sheenRoughnessMapUv:te&&f(x.sheenRoughnessMap.channel),specularMapUv:ie&&f(x.specularMap.channel),specularColorMapUv:pe&&f(x.specularColorMap.channel),specularIntensityMapUv:O&&f(x.specularIntensityMap.channel),transmissionMapUv:re&&f(x.transmissionMap.channel),thicknessMapUv:ne&&f(x.thicknessMap.channel),alphaMapUv:ge&&f(x.alphaMap.channel),vertexTangents:!!N.attributes.tangent&&(It||on),vertexNormals:!!N.attributes.normal,vertexColors:x.vertexColors,vertexAlphas:x.vertexColors===!0&&!!N.attributes.color&&N.attributes.color.itemSize===4,pointsUvs:I.isPoints===!0&&!!N.attributes.uv&&(Ve||ge),fog:!!V,useFog:x.fog===!0,fogExp2:!!V&&V.isFogExp2,flatShading:x.wireframe===!1&&(x.flatShading===!0||N.attributes.normal===void 0&&It===!1&&(x.isMeshLambertMaterial||x.isMeshPhongMaterial||x.isMeshStandardMaterial||x.isMeshPhysicalMaterial)),sizeAttenuation:x.sizeAttenuation===!0,logarithmicDepthBuffer:h,reversedDepthBuffer:be,skinning:I.isSkinnedMesh===!0,hasPositionAttribute:N.attributes.position!==void 0,morphTargets:N.morphAttributes.position!==void 0,morphNormals:N.morphAttributes.normal!==void 0,morphColors:N.morphAttributes.color!==void 0,morphTargetsCount:se,morphTextureStride:de,numSunLights:A.sun.length,numDirLights:A.directional.length,numPointLights:A.point.length,numSpotLights:A.spot.length,numSpotLightMaps:A.spotLightMap.length,numRectAreaLights:A.rectArea.length,numHemiLights:A.hemi.length,numSunLightShadows:A.sunShadowMap.length,numDirLightShadows:A.directionalShadowMap.length,numPointLightShadows:A.pointShadowMap.length,numSpotLightShadows:A.spotShadowMap.length,numSpotLightShadowsWithMaps:A.numSpotLightShadowsWithMaps,numLightProbes:A.numLightProbes,numLightProbeGrids:k.filter(Ce=>Ce.texture!==null).length,numClippingPlanes:r.numPlanes,numClipIntersection:r.numIntersection,dithering:x.dithering,shadowMapEnabled:i.shadowMap.enabled&&F.length>0,shadowMapType:i.shadowMap.type,toneMapping:le,decodeVideoTexture:Ve&&x.map.isVideoTexture===!0&&xt.getTransfer(x.map.colorSpace)===At,decodeVideoTextureEmissive:yt&&x.emissiveMap.isVideoTexture===!0&&xt.getTransfer(x.emissiveMap.colorSpace)===At,premultipliedAlpha:x.premultipliedAlpha,doubleSided:x.side===Ji,flipSided:x.side===Cn,useDepthPacking:x.depthPacking>=0,depthPacking:x.depthPacking||0,index0AttributeName:x.index0AttributeName,extensionClipCullDistance:Je&&x.extensions.clipCullDistance===!0&&t.has("WEBGL_clip_cull_distance"),extensionMultiDraw:(Je&&x.extensions.multiDraw===!0||st)&&t.has("WEBGL_multi_draw"),rendererExtensionParallelShaderCompile:t.has("KHR_parallel_shader_compile"),customProgramCacheKey:x.customProgramCacheKey()};return Ke.vertexUv1s=c.has(1),Ke.vertexUv2s=c.has(2),Ke.vertexUv3s=c.has(3),c.clear(),Ke}function y(x){let A=[];if(x.shaderID?A.push(x.shaderID):(A.push(x.customVertexShaderID),A.push(x.customFragmentShaderID)),x.defines!==void 0)for(let F in x.defines)A.push(F),A.push(x.defines[F]);return x.isRawShaderMaterial===!1&&(m(A,x),p(A,x),A.push(i.outputColorSpace)),A.push(x.customProgramCacheKey),A.join()}function m(x,A){x.push(A.precision),x.push(A.outputColorSpace),x.push(A.envMapMode),x.push(A.envMapPMREM),x.push(A.envMapMaxLod),x.push(A.envMapSize),x.push(A.mapUv),x.push(A.alphaMapUv),x.push(A.lightMapUv),x.push(A.aoMapUv),x.push(A.bumpMapUv),x.push(A.normalMapUv),x.push(A.displacementMapUv),x.push(A.emissiveMapUv),x.push(A.metalnessMapUv),x.push(A.roughnessMapUv),x.push(A.anisotropyMapUv),x.push(A.clearcoatMapUv),x.push(A.clearcoatNormalMapUv),x.push(A.clearcoatRoughnessMapUv),x.push(A.diffuseRoughnessMapUv),x.push(A.iridescenceMapUv),x.push(A.iridescenceThicknessMapUv),x.push(A.sheenColorMapUv),x.push(A.sheenRoughnessMapUv),x.push(A.specularMapUv),x.push(A.specularColorMapUv),x.push(A.specularIntensityMapUv),x.push(A.transmissionMapUv),x.push(A.thicknessMapUv),x.push(A.combine),x.push(A.fogExp2),x.push(A.sizeAttenuation),x.push(A.morphTargetsCount),x.push(A.numSunLights),x.push(A.numDirLights),x.push(A.numPointLights),x.push(A.numSpotLights),x.push(A.numSpotLightMaps),x.push(A.numHemiLights),x.push(A.numRectAreaLights),x.push(A.numSunLightShadows),x.push(A.numDirLightShadows),x.push(A.numPointLightShadows),x.push(A.numSpotLightShadows),x.push(A.numSpotLightShadowsWithMaps),x.push(A.numLightProbes),x.push(A.numLightProbeGrids),x.push(A.shadowMapType),x.push(A.toneMapping),x.push(A.numClippingPlanes),x.push(A.numClipIntersection),x.push(A.depthPacking)}function p(x,A){o.disableAll(),A.instancing&&o.enable(0),A.instancingColor&&o.enable(1),A.instancingMorph&&o.enable(2),A.matcap&&o.enable(3),A.envMap&&o.enable(4),A.normalMapObjectSpace&&o.enable(5),A.normalMapTangentSpace&&o.enable(6),A.clearcoat&&o.enable(7),A.iridescence&&o.enable(8),A.alphaTest&&o.enable(9),A.vertexColors&&o.enable(10),A.vertexAlphas&&o.enable(11),A.vertexUv1s&&o.enable(12),A.vertexUv2s&&o.enable(13),A.vertexUv3s&&o.enable(14),A.vertexTangents&&o.enable(15),A.anisotropy&&o.enable(16),A.alphaHash&&o.enable(17),A.batching&&o.enable(18),A.dispersion&&o.enable(19),A.retroreflection&&o.enable(24),A.diffuseRoughness&&o.enable(25),A.batchingColor&&o.enable(20),A.gradientMap&&o.enable(21),A.packedNormalMap&&o.enable(22),A.vertexNormals&&o.enable(23),x.push(o.mask),o.disableAll(),A.fog&&o.enable(0),A.useFog&&o.enable(1),A.flatShading&&o.enable(2),A.logarithmicDepthBuffer&&o.enable(3),A.reversedDepthBuffer&&o.enable(4),A.skinning&&o.enable(5),A.morphTargets&&o.enable(6),A.morphNormals&&o.enable(7),A.morphColors&&o.enable(8),A.premultipliedAlpha&&o.enable(9),A.shadowMapEnabled&&o.enable(10),A.doubleSided&&o.enable(11),A.flipSided&&o.enable(12),A.useDepthPacking&&o.enable(13),A.dithering&&o.enable(14),A.transmission&&o.enable(15),A.sheen&&o.enable(16),A.opaque&&o.enable(17),A.pointsUvs&&o.enable(18),A.decodeVideoTexture&&o.enable(19),A.decodeVideoTextureEmissive&&o.enable(20),A.alphaToCoverage&&o.enable(21),A.numLightProbeGrids>0&&o.enable(22),A.hasPositionAttribute&&o.enable(23),x.push(o.mask)}function v(x){let A=d[x.type],F;if(A){let L=Jn[A];F=qa.clone(L.uniforms)}else F=x.uniforms;return F}function T(x,A){let F=u.get(A);return F!==void 0?++F.usedTimes:(F=new oA(i,A,x,s),l.push(F),u.set(A,F)),F}function S(x){if(--x.usedTimes===0){let A=l.indexOf(x);l[A]=l[l.length-1],l.pop(),u.delete(x.cacheKey),x.destroy()}}function C(x){a.remove(x)}function E(){a.dispose()}return{getParameters:g,getProgramCacheKey:y,getUniforms:v,acquireProgram:T,releaseProgram:S,releaseShaderCache:C,programs:l,dispose:E}}function hA(){let i=new WeakMap;function e(o){return i.has(o)}function t(o){let a=i.get(o);return a===void 0&&(a={},i.set(o,a)),a}function n(o){i.delete(o)}function s(o,a,c){i.get(o)[a]=c}function r(){i=new WeakMap}return{has:e,get:t,remove:n,update:s,dispose:r}}function uA(i,e){return i.groupOrder!==e.groupOrder?i.groupOrder-e.groupOrder:i.renderOrder!==e.renderOrder?i.renderOrder-e.renderOrder:i.material.id!==e.material.id?i.material.id-e.material.id:i.materialVariant!==e.materialVariant?i.materialVariant-e.materialVariant:i.z!==e.z?i.z-e.z:i.id-e.id}function M_(i,e){return i.groupOrder!==e.groupOrder?i.groupOrder-e.groupOrder:i.renderOrder!==e.renderOrder?i.renderOrder-e.renderOrder:i.z!==e.z?e.z-i.z:i.id-e.id}function w_(){let i=[],e=0,t=[],n=[],s=[];function r(){e=0,t.length=0,n.length=0,s.length=0}function o(d){let f=0;return d.isInstancedMesh&&(f+=2),d.isSkinnedMesh&&(f+=1),f}function a(d,f,g,y,m,p){let v=i[e];return v===void 0?(v={id:d.id,object:d,geometry:f,material:g,materialVariant:o(d),groupOrder:y,renderOrder:d.renderOrder,z:m,group:p},i[e]=v):(v.id=d.id,v.object=d,v.geometry=f,v.material=g,v.materialVariant=o(d),v.groupOrder=y,v.renderOrder=d.renderOrder,v.z=m,v.group=p),e++,v}function c(d,f,g,y,m,p,v){v.reversedDepth===!0&&(m=-m);let T=a(d,f,g,y,m,p);g.transmission>0?n.push(T):g.transparent===!0?s.push(T):t.push(T)}function l(d,f,g,y,m,p){let v=a(d,f,g,y,m,p);g.transmission>0?n.unshift(v):g.transparent===!0?s.unshift(v):t.unshift(v)}function u(d,f){t.length>1&&t.sort(d||uA),n.length>1&&n.sort(f||M_),s.length>1&&s.sort(f||M_)}function h(){for(let d=e,f=i.length;d<f;d++){let g=i[d];if(g.id===null)break;g.id=null,g.object=null,g.geometry=null,g.material=null,g.group=null}}return{opaque:t,transmissive:n,transparent:s,init:r,push:c,unshift:l,finish:h,sort:u}}function dA(){let i=new WeakMap;function e(n,s){let r=i.get(n),o;return r===void 0?(o=new w_,i.set(n,[o])):s>=r.length?(o=new w_,r.push(o)):o=r[s],o}function t(){i=new WeakMap}return{get:e,dispose:t}}function fA(){let i={};return{get:function(e){if(i[e.id]!==void 0)return i[e.id];let t;switch(e.type){case"SunLight":case"DirectionalLight":t={direction:new U,color:new je};break;case"SpotLight":t={position:new U,direction:new U,color:new je,distance:0,coneCos:0,penumbraCos:0,decay:0};break;case"PointLight":t={position:new U,color:new je,distance:0,decay:0};break;case"HemisphereLight":t={direction:new U,skyColor:new je,groundColor:new je};break;case"RectAreaLight":t={color:new je,position:new U,halfWidth:new U,halfHeight:new U};break}return i[e.id]=t,t}}}function pA(){let i={};return{get:function(e){if(i[e.id]!==void 0)return i[e.id];let t;switch(e.type){case"SunLight":case"DirectionalLight":t={shadowIntensity:1,shadowBias:0,shadowNormalBias:0,shadowRadius:1,shadowMapSize:new He};break;case"SpotLight":t={shadowIntensity:1,shadowBias:0,shadowNormalBias:0,shadowRadius:1,shadowMapSize:new He};break;case"PointLight":t={shadowIntensity:1,shadowBias:0,shadowNormalBias:0,shadowRadius:1,shadowMapSize:new He,shadowCameraNear:1,shadowCameraFar:1e3};break}return i[e.id]=t,t}}}var mA=0;function gA(i,e){return(e.castShadow?2:0)-(i.castShadow?2:0)+(e.map?1:0)-(i.map?1:0)}function _A(i){let e=new fA,t=pA(),n={version:0,hash:{sunLength:-1,directionalLength:-1,pointLength:-1,spotLength:-1,rectAreaLength:-1,hemiLength:-1,numSunShadows:-1,numDirectionalShadows:-1,numPointShadows:-1,numSpotShadows:-1,numSpotMaps:-1,numLightProbes:-1},ambient:[0,0,0],probe:[],sun:[],sunShadow:[],sunShadowMap:[],sunShadowMatrix:[],sunShadowCascade:[],directional:[],directionalShadow:[],directionalShadowMap:[],directionalShadowMatrix:[],spot:[],spotLightMap:[],spotShadow:[],spotShadowMap:[],spotLightMatrix:[],rectArea:[],rectAreaLTC1:null,rectAreaLTC2:null,point:[],pointShadow:[],pointShadowMap:[],pointShadowMatrix:[],hemi:[],numSpotLightShadowsWithMaps:0,numLightProbes:0};for(let l=0;l<9;l++)n.probe.push(new U);let s=new U,r=new Dt,o=new Dt;function a(l){let u=0,h=0,d=0;for(let k=0;k<9;k++)n.probe[k].set(0,0,0);let f=0,g=0,y=0,m=0,p=0,v=0,T=0,S=0,C=0,E=0,x=0,A=0,F=0,L=0;l.sort(gA);for(let k=0,V=l.length;k<V;k++){let N=l[k],W=N.color,$=N.intensity,H=N.distance,ce=null;if(N.shadow&&N.shadow.map&&(N.shadow.map.texture.format===Ys?ce=N.shadow.map.texture:ce=N.shadow.map.depthTexture||N.shadow.map.texture),N.isAmbientLight)u+=W.r*$,h+=W.g*$,d+=W.b*$;else if(N.isLightProbe){for(let K=0;K<9;K++)n.probe[K].addScaledVector(N.sh.coefficients[K],$);L++}else if(N.isSunLight){let K=e.get(N);if(K.color.copy(N.color).multiplyScalar(N.intensity),N.castShadow){let Q=N.shadow,se=t.get(N);se.shadowIntensity=Q.intensity,se.shadowBias=Q.bias,se.shadowNormalBias=Q.normalBias,se.shadowRadius=Q.radius,se.shadowMapSize.copy(Q.mapSize).multiply(Q.getFrameExtents()),n.sunShadow[g]=se,n.sunShadowMap[g]=ce;let de=Q.getViewportCount();for(let ue=0;ue<de;ue++)n.sunShadowMatrix[y+ue]=Q.getMatrix(ue),n.sunShadowCascade[y+ue]=Q._cascadeData[ue];y+=de,g++}n.sun[f]=K,f++}else if(N.isDirectionalLight){let K=e.get(N);if(K.color.copy(N.color).multiplyScalar(N.intensity),N.castShadow){let Q=N.shadow,se=t.get(N);se.shadowIntensity=Q.intensity,se.shadowBias=Q.bias,se.shadowNormalBias=Q.normalBias,se.shadowRadius=Q.radius,se.shadowMapSize=Q.mapSize,n.directionalShadow[m]=se,n.directionalShadowMap[m]=ce,n.directionalShadowMatrix[m]=N.shadow.matrix,C++}n.directional[m]=K,m++}else if(N.isSpotLight){let K=e.get(N);K.position.setFromMatrixPosition(N.matrixWorld),K.color.copy(W).multiplyScalar($),K.distance=H,K.coneCos=Math.cos(N.angle),K.penumbraCos=Math.cos(N.angle*(1-N.penumbra)),K.decay=N.decay,n.spot[v]=K;let Q=N.shadow;if(N.map&&(n.spotLightMap[A]=N.map,A++,Q.updateMatrices(N),N.castShadow&&F++),n.spotLightMatrix[v]=Q.matrix,N.castShadow){let se=t.get(N);se.shadowIntensity=Q.intensity,se.shadowBias=Q.bias,se.shadowNormalBias=Q.normalBias,se.shadowRadius=Q.radius,se.shadowMapSize=Q.mapSize,n.spotShadow[v]=se,n.spotShadowMap[v]=ce,x++}v++}else if(N.isRectAreaLight){let K=e.get(N);K.color.copy(W).multiplyScalar($),K.halfWidth.set(N.width*.5,0,0),K.halfHeight.set(0,N.height*.5,0),n.rectArea[T]=K,T++}else if(N.isPointLight){let K=e.get(N);if(K.color.copy(N.color).multiplyScalar(N.intensity),K.distance=N.distance,K.decay=N.decay,N.castShadow){let Q=N.shadow,se=t.get(N);se.shadowIntensity=Q.intensity,se.shadowBias=Q.bias,se.shadowNormalBias=Q.normalBias,se.shadowRadius=Q.radius,se.shadowMapSize=Q.mapSize,se.shadowCameraNear=Q.camera.near,se.shadowCameraFar=Q.camera.far,n.pointShadow[p]=se,n.pointShadowMap[p]=ce,n.pointShadowMatrix[p]=N.shadow.matrix,E++}n.point[p]=K,p++}else if(N.isHemisphereLight){let K=e.get(N);K.skyColor.copy(N.color).multiplyScalar($),K.groundColor.copy(N.groundColor).multiplyScalar($),n.hemi[S]=K,S++}}T>0&&(i.has("OES_texture_float_linear")===!0?(n.rectAreaLTC1=Pe.LTC_FLOAT_1,n.rectAreaLTC2=Pe.LTC_FLOAT_2):(n.rectAreaLTC1=Pe.LTC_HALF_1,n.rectAreaLTC2=Pe.LTC_HALF_2)),n.ambient[0]=u,n.ambient[1]=h,n.ambient[2]=d;let I=n.hash;(I.sunLength!==f||I.directionalLength!==m||I.pointLength!==p||I.spotLength!==v||I.rectAreaLength!==T||I.hemiLength!==S||I.numSunShadows!==g||I.numDirectionalShadows!==C||I.numPointShadows!==E||I.numSpotShadows!==x||I.numSpotMaps!==A||I.numLightProbes!==L)&&(n.sun.length=f,n.directional.length=m,n.spot.length=v,n.rectArea.length=T,n.point.length=p,n.hemi.length=S,n.sunShadow.length=g,n.sunShadowMap.length=g,n.sunShadowMatrix.length=y,n.sunShadowCascade.length=y,n.directionalShadow.length=C,n.directionalShadowMap.length=C,n.directionalShadowMatrix.length=C,n.pointShadow.length=E,n.pointShadowMap.length=E,n.pointShadowMatrix.length=E,n.spotShadow.length=x,n.spotShadowMap.length=x,n.spotLightMatrix.length=x+A-F,n.spotLightMap.length=A,n.numSpotLightShadowsWithMaps=F,n.numLightProbes=L,I.sunLength=f,I.directionalLength=m,I.pointLength=p,I.spotLength=v,I.rectAreaLength=T,I.hemiLength=S,I.numSunShadows=g,I.numDirectionalShadows=C,I.numPointShadows=E,I.numSpotShadows=x,I.numSpotMaps=A,I.numLightProbes=L,n.version=mA++)}function c(l,u){let h=0,d=0,f=0,g=0,y=0,m=0,p=u.matrixWorldInverse;for(let v=0,T=l.length;v<T;v++){let S=l[v];if(S.isSunLight){let C=n.sun[h];C.direction.setFromMatrixPosition(S.matrixWorld),C.direction.transformDirection(p),h++}else if(S.isDirectionalLight){let C=n.directional[d];C.direction.setFromMatrixPosition(S.matrixWorld),s.setFromMatrixPosition(S.target.matrixWorld),C.direction.sub(s),C.direction.transformDirection(p),d++}else if(S.isSpotLight){let C=n.spot[g];C.position.setFromMatrixPosition(S.matrixWorld),C.position.applyMatrix4(p),C.direction.setFromMatrixPosition(S.matrixWorld),s.setFromMatrixPosition(S.target.matrixWorld),C.direction.sub(s),C.direction.transformDirection(p),g++}else if(S.isRectAreaLight){let C=n.rectArea[y];C.position.setFromMatrixPosition(S.matrixWorld),C.position.applyMatrix4(p),o.identity(),r.copy(S.matrixWorld),r.premultiply(p),o.extractRotation(r),C.halfWidth.set(S.width*.5,0,0),C.halfHeight.set(0,S.height*.5,0),C.halfWidth.applyMatrix4(o),C.halfHeight.applyMatrix4(o),y++}else if(S.isPointLight){let C=n.point[f];C.position.setFromMatrixPosition(S.matrixWorld),C.position.applyMatrix4(p),f++}else if(S.isHemisphereLight){let C=n.hemi[m];C.direction.setFromMatrixPosition(S.matrixWorld),C.direction.transformDirection(p),m++}}}return{setup:a,setupView:c,state:n}}function A_(i){let e=new _A(i),t=[],n=[],s=[];function r(h){u.camera=h,t.length=0,n.length=0,s.length=0}function o(h){h.isLightProbeGrid?s.push(h):t.push(h)}function a(h){n.push(h)}function c(){e.setup(t),s.sort((h,d)=>h.priority-d.priority||h.id-d.id)}function l(h){e.setupView(t,h)}let u={lightsArray:t,shadowsArray:n,lightProbeGridArray:s,camera:null,lights:e,transmissionRenderTarget:{},textureUnits:0};return{init:r,state:u,setupLights:c,setupLightsView:l,pushLight:o,pushShadow:a}}function xA(i){let e=new WeakMap;function t(s,r=0){let o=e.get(s),a;return o===void 0?(a=new A_(i),e.set(s,[a])):r>=o.length?(a=new A_(i),o.push(a)):a=o[r],a}function n(){e=new WeakMap}return{get:t,dispose:n}}var yA=`void main() {
	gl_Position = vec4( position, 1.0 );
}`,vA=`uniform sampler2D shadow_pass;
uniform vec2 resolution;
uniform float radius;
void main() {
	const float samples = float( VSM_SAMPLES );
	float mean = 0.0;
	float squared_mean = 0.0;
	float uvStride = samples <= 1.0 ? 0.0 : 2.0 / ( samples - 1.0 );
	float uvStart = samples <= 1.0 ? 0.0 : - 1.0;
	for ( float i = 0.0; i < samples; i ++ ) {
		float uvOffset = uvStart + i * uvStride;
		#ifdef HORIZONTAL_PASS
			vec2 distribution = texture2D( shadow_pass, ( gl_FragCoord.xy + vec2( uvOffset, 0.0 ) * radius ) / resolution ).rg;
			mean += distribution.x;
			squared_mean += distribution.y * distribution.y + distribution.x * distribution.x;
		#else
			float depth = texture2D( shadow_pass, ( gl_FragCoord.xy + vec2( 0.0, uvOffset ) * radius ) / resolution ).r;
			mean += depth;
			squared_mean += depth * depth;
		#endif
	}
	mean = mean / samples;
	squared_mean = squared_mean / samples;
	float std_dev = sqrt( max( 0.0, squared_mean - mean * mean ) );
	gl_FragColor = vec4( mean, std_dev, 0.0, 1.0 );
}`,SA=[new U(1,0,0),new U(-1,0,0),new U(0,1,0),new U(0,-1,0),new U(0,0,1),new U(0,0,-1)],bA=[new U(0,-1,0),new U(0,-1,0),new U(0,0,1),new U(0,0,-1),new U(0,-1,0),new U(0,-1,0)],E_=new Dt,Ya=new U,Uf=new U;function MA(i,e,t){let n=new zs,s=new He,r=new He,o=new Et,a=new Nc,c=new Uc,l={},u=t.maxTextureSize,h={[qs]:Cn,[Cn]:qs,[Ji]:Ji},d=new Zn({defines:{VSM_SAMPLES:8},uniforms:{shadow_pass:{value:null},resolution:{value:new He},radius:{value:4}},vertexShader:yA,fragmentShader:vA}),f=d.clone();f.defines.HORIZONTAL_PASS=1;let g=new Qt;g.setAttribute("position",new ui(new Float32Array([-1,-1,.5,3,-1,.5,-1,3,.5]),3));let y=new en(g,d),m=this;this.enabled=!1,this.autoUpdate=!0,this.needsUpdate=!1,this.type=Ba;let p=this.type;this.render=function(E,x,A){if(m.enabled===!1||m.autoUpdate===!1&&m.needsUpdate===!1||E.length===0)return;this.type===M0&&(Ye("WebGLShadowMap: PCFSoftShadowMap has been removed. Using PCFShadowMap instead."),this.type=Ba);let F=i.getRenderTarget(),L=i.getActiveCubeFace(),I=i.getActiveMipmapLevel(),k=i.state;k.setBlending(dr),k.buffers.depth.getReversed()===!0?k.buffers.color.setClear(0,0,0,0):k.buffers.color.setClear(1,1,1,1),k.buffers.depth.setTest(!0),k.setScissorTest(!1);let V=p!==this.type;V&&x.traverse(function(N){N.material&&(Array.isArray(N.material)?N.material.forEach(W=>W.needsUpdate=!0):N.material.needsUpdate=!0)});for(let N=0,W=E.length;N<W;N++){let $=E[N],H=$.shadow;if(H===void 0){Ye("WebGLShadowMap:",$,"has no shadow.");continue}if(H.autoUpdate===!1&&H.needsUpdate===!1)continue;s.copy(H.mapSize);let ce=H.getFrameExtents();s.multiply(ce),r.copy(H.mapSize),(s.x>u||s.y>u)&&(s.x>u&&(r.x=Math.floor(u/ce.x),s.x=r.x*ce.x,H.mapSize.x=r.x),s.y>u&&(r.y=Math.floor(u/ce.y),s.y=r.y*ce.y,H.mapSize.y=r.y));let K=i.state.buffers.depth.getReversed();if(H.camera._reversedDepth=K,H.map===null||V===!0){if(H.map!==null&&(H.map.depthTexture!==null&&(H.map.depthTexture.dispose(),H.map.depthTexture=null),H.map.dispose()),this.type===So){if($.isPointLight){Ye("WebGLShadowMap: VSM shadow maps are not supported for PointLights. Use PCF or BasicShadowMap instead.");continue}H.map=new di(s.x,s.y,{format:Ys,type:Fi,minFilter:$n,magFilter:$n,generateMipmaps:!1}),H.map.texture.name=$.name+".shadowMap",H.map.depthTexture=new bs(s.x,s.y,Ui),H.map.depthTexture.name=$.name+".shadowMapDepth",H.map.depthTexture.format=ys,H.map.depthTexture.compareFunction=null,H.map.depthTexture.minFilter=Tn,H.map.depthTexture.magFilter=Tn}else $.isPointLight?(H.map=new Za(s.x),H.map.depthTexture=new ya(s.x,Ni)):(H.map=new di(s.x,s.y),H.map.depthTexture=new bs(s.x,s.y,Ni)),H.map.depthTexture.name=$.name+".shadowMap",H.map.depthTexture.format=ys,this.type===Ba?(H.map.depthTexture.compareFunction=K?mf:pf,H.map.depthTexture.minFilter=$n,H.map.depthTexture.magFilter=$n):(H.map.depthTexture.compareFunction=null,H.map.depthTexture.minFilter=Tn,H.map.depthTexture.magFilter=Tn);H.camera.updateProjectionMatrix()}H.map.isWebGLCubeRenderTarget!==!0&&(H.map.width!==s.x||H.map.height!==s.y)&&H.map.setSize(s.x,s.y);let Q=H.map.isWebGLCubeRenderTarget?6:H.getViewportCount();$.isPointLight!==!0&&H.updateMatrices($,A);let se=(H.camera.layers.mask&4294967294)!==0?H.camera.layers:A.layers;for(let de=0;de<Q;de++){let ue=H.getCamera(de);if($.isPointLight){let ee=H.camera,me=H.matrix,xe=$.distance||ee.far;xe!==ee.far&&(ee.far=xe,ee.updateProjectionMatrix()),Ya.setFromMatrixPosition($.matrixWorld),ee.position.copy(Ya),Uf.copy(ee.position),Uf.add(SA[de]),ee.up.copy(bA[de]),ee.lookAt(Uf),ee.updateMatrixWorld(),me.makeTranslation(-Ya.x,-Ya.y,-Ya.z),E_.multiplyMatrices(ee.projectionMatrix,ee.matrixWorldInverse),H._frustum.setFromProjectionMatrix(E_,ee.coordinateSystem,ee.reversedDepth)}if(H.map.isWebGLCubeRenderTarget)i.setRenderTarget(H.map,de),i.clear();else{de===0&&(i.setRenderTarget(H.map),i.clear());let ee=H.getViewport(de);o.set(r.x*ee.x,r.y*ee.y,r.x*ee.z,r.y*ee.w),k.viewport(o)}n=H.getFrustum(de),S(x,A,ue,$,se,this.type)}H.isPointLightShadow!==!0&&this.type===So&&v(H,A),H.needsUpdate=!1}p=this.type,m.needsUpdate=!1,i.setRenderTarget(F,L,I)};function v(E,x){let A=e.update(y);d.defines.VSM_SAMPLES!==E.blurSamples&&(d.defines.VSM_SAMPLES=E.blurSamples,f.defines.VSM_SAMPLES=E.blurSamples,d.needsUpdate=!0,f.needsUpdate=!0),E.mapPass===null?E.mapPass=new di(s.x,s.y,{format:Ys,type:Fi}):(E.mapPass.width!==E.map.width||E.mapPass.height!==E.map.height)&&E.mapPass.setSize(E.map.width,E.map.height),d.uniforms.shadow_pass.value=E.map.depthTexture,d.uniforms.resolution.value.set(E.map.width,E.map.height),d.uniforms.radius.value=E.radius,i.setRenderTarget(E.mapPass),i.clear(),i.renderBufferDirect(x,null,A,d,y,null),f.uniforms.shadow_pass.value=E.mapPass.texture,f.uniforms.resolution.value.set(E.map.width,E.map.height),f.uniforms.radius.value=E.radius,i.setRenderTarget(E.map),i.clear(),i.renderBufferDirect(x,null,A,f,y,null)}function T(E,x,A,F){let L=null,I=A.isPointLight===!0?E.customDistanceMaterial:E.customDepthMaterial;if(I!==void 0)L=I;else if(L=A.isPointLight===!0?c:a,i.localClippingEnabled&&x.clipShadows===!0&&Array.isArray(x.clippingPlanes)&&x.clippingPlanes.length!==0||x.displacementMap&&x.displacementScale!==0||x.alphaMap&&x.alphaTest>0||x.map&&x.alphaTest>0||x.alphaToCoverage===!0){let k=L.uuid,V=x.uuid,N=l[k];N===void 0&&(N={},l[k]=N);let W=N[V];W===void 0&&(W=L.clone(),N[V]=W,x.addEventListener("dispose",C)),L=W}if(L.visible=x.visible,L.wireframe=x.wireframe,F===So?L.side=x.shadowSide!==null?x.shadowSide:x.side:L.side=x.shadowSide!==null?x.shadowSide:h[x.side],L.alphaMap=x.alphaMap,L.alphaTest=x.alphaToCoverage===!0?.5:x.alphaTest,L.map=x.map,L.clipShadows=x.clipShadows,L.clippingPlanes=x.clippingPlanes,L.clipIntersection=x.clipIntersection,L.displacementMap=x.displacementMap,L.displacementScale=x.displacementScale,L.displacementBias=x.displacementBias,L.wireframeLinewidth=x.wireframeLinewidth,L.linewidth=x.linewidth,A.isPointLight===!0&&L.isMeshDistanceMaterial===!0){let k=i.properties.get(L);k.light=A}return L}function S(E,x,A,F,L,I){if(E.visible===!1)return;if(E.layers.test(L)&&(E.isMesh||E.isLine||E.isPoints)&&(E.castShadow||E.receiveShadow&&I===So)&&(!E.frustumCulled||E.intersectsFrustum(n))){E.modelViewMatrix.multiplyMatrices(A.matrixWorldInverse,E.matrixWorld);let N=e.update(E),W=E.material;if(Array.isArray(W)){let $=N.groups;for(let H=0,ce=$.length;H<ce;H++){let K=$[H],Q=W[K.materialIndex];if(Q&&Q.visible){let se=T(E,Q,F,I);E.onBeforeShadow(i,E,x,A,N,se,K),i.renderBufferDirect(A,null,N,se,E,K),E.onAfterShadow(i,E,x,A,N,se,K)}}}else if(W.visible){let $=T(E,W,F,I);E.onBeforeShadow(i,E,x,A,N,$,null),i.renderBufferDirect(A,null,N,$,E,null),E.onAfterShadow(i,E,x,A,N,$,null)}}let V=E.children;for(let N=0,W=V.length;N<W;N++)S(V[N],x,A,F,L,I)}function C(E){E.target.removeEventListener("dispose",C);for(let A in l){let F=l[A],L=E.target.uuid;L in F&&(F[L].dispose(),delete F[L])}}}function wA(i,e){function t(){let O=!1,re=new Et,ne=null,we=new Et(0,0,0,0);return{setMask:function(ge){ne!==ge&&!O&&(i.colorMask(ge,ge,ge,ge),ne=ge)},setLocked:function(ge){O=ge},setClear:function(ge,Se,Ge,Je,le){le===!0&&(ge*=Je,Se*=Je,Ge*=Je),re.set(ge,Se,Ge,Je),we.equals(re)===!1&&(i.clearColor(ge,Se,Ge,Je),we.copy(re))},reset:function(){O=!1,ne=null,we.set(-1,0,0,0)}}}function n(){let O=!1,re=!1,ne=null,we=null,ge=null;return{setReversed:function(Se){if(re!==Se){let Ge=e.get("EXT_clip_control");Se?Ge.clipControlEXT(Ge.LOWER_LEFT_EXT,Ge.ZERO_TO_ONE_EXT):Ge.clipControlEXT(Ge.LOWER_LEFT_EXT,Ge.NEGATIVE_ONE_TO_ONE_EXT),re=Se;let Je=ge;ge=null,this.setClear(Je)}},getReversed:function(){return re},setTest:function(Se){Se?be(i.DEPTH_TEST):We(i.DEPTH_TEST)},setMask:function(Se){ne!==Se&&!O&&(i.depthMask(Se),ne=Se)},setFunc:function(Se){if(re&&(Se=n_[Se]),we!==Se){switch(Se){case oc:i.depthFunc(i.NEVER);break;case ac:i.depthFunc(i.ALWAYS);break;case lc:i.depthFunc(i.LESS);break;case ho:i.depthFunc(i.LEQUAL);break;case cc:i.depthFunc(i.EQUAL);break;case hc:i.depthFunc(i.GEQUAL);break;case uc:i.depthFunc(i.GREATER);break;case dc:i.depthFunc(i.NOTEQUAL);break;default:i.depthFunc(i.LEQUAL)}we=Se}},setLocked:function(Se){O=Se},setClear:function(Se){ge!==Se&&(ge=Se,re&&(Se=1-Se),i.clearDepth(Se))},reset:function(){O=!1,ne=null,we=null,ge=null,re=!1}}}function s(){let O=!1,re=null,ne=null,we=null,ge=null,Se=null,Ge=null,Je=null,le=null;return{setTest:function(Oe){O||(Oe?be(i.STENCIL_TEST):We(i.STENCIL_TEST))},setMask:function(Oe){re!==Oe&&!O&&(i.stencilMask(Oe),re=Oe)},setFunc:function(Oe,Ke,Ce){(ne!==Oe||we!==Ke||ge!==Ce)&&(i.stencilFunc(Oe,Ke,Ce),ne=Oe,we=Ke,ge=Ce)},setOp:function(Oe,Ke,Ce){(Se!==Oe||Ge!==Ke||Je!==Ce)&&(i.stencilOp(Oe,Ke,Ce),Se=Oe,Ge=Ke,Je=Ce)},setLocked:function(Oe){O=Oe},setClear:function(Oe){le!==Oe&&(i.clearStencil(Oe),le=Oe)},reset:function(){O=!1,re=null,ne=null,we=null,ge=null,Se=null,Ge=null,Je=null,le=null}}}let r=new t,o=new n,a=new s,c={},l=new WeakMap,u={},h={},d={},f=new WeakMap,g=[],y=null,m=!1,p=null,v=null,T=null,S=null,C=null,E=null,x=null,A=new je(0,0,0),F=0,L=!1,I=null,k=null,V=null,N=null,W=null,$=i.getParameter(i.MAX_COMBINED_TEXTURE_IMAGE_UNITS),H=!1,ce=0,K=i.getParameter(i.VERSION);K.indexOf("WebGL")!==-1?(ce=parseFloat(/^WebGL (\d)/.exec(K)[1]),H=ce>=1):K.indexOf("OpenGL ES")!==-1&&(ce=parseFloat(/^OpenGL ES (\d)/.exec(K)[1]),H=ce>=2);let Q=null,se={},de=i.getParameter(i.SCISSOR_BOX),ue=i.getParameter(i.VIEWPORT),ee=new Et().fromArray(de),me=new Et().fromArray(ue);function xe(O,re,ne,we){let ge=new Uint8Array(4),Se=i.createTexture();i.bindTexture(O,Se),i.texParameteri(O,i.TEXTURE_MIN_FILTER,i.NEAREST),i.texParameteri(O,i.TEXTURE_MAG_FILTER,i.NEAREST);for(let Ge=0;Ge<ne;Ge++)O===i.TEXTURE_3D||O===i.TEXTURE_2D_ARRAY?i.texImage3D(re,0,i.RGBA,1,1,we,0,i.RGBA,i.UNSIGNED_BYTE,ge):i.texImage2D(re+Ge,0,i.RGBA,1,1,0,i.RGBA,i.UNSIGNED_BYTE,ge);return Se}let Te={};Te[i.TEXTURE_2D]=xe(i.TEXTURE_2D,i.TEXTURE_2D,1),Te[i.TEXTURE_CUBE_MAP]=xe(i.TEXTURE_CUBE_MAP,i.TEXTURE_CUBE_MAP_POSITIVE_X,6),Te[i.TEXTURE_2D_ARRAY]=xe(i.TEXTURE_2D_ARRAY,i.TEXTURE_2D_ARRAY,1,1),Te[i.TEXTURE_3D]=xe(i.TEXTURE_3D,i.TEXTURE_3D,1,1),r.setClear(0,0,0,1),o.setClear(1),a.setClear(0),be(i.DEPTH_TEST),o.setFunc(ho),rn(!1),It(qd),be(i.CULL_FACE),Wt(dr);function be(O){u[O]!==!0&&(i.enable(O),u[O]=!0)}function We(O){u[O]!==!1&&(i.disable(O),u[O]=!1)}function st(O,re){return d[O]!==re?(i.bindFramebuffer(O,re),d[O]=re,O===i.DRAW_FRAMEBUFFER&&(d[i.FRAMEBUFFER]=re),O===i.FRAMEBUFFER&&(d[i.DRAW_FRAMEBUFFER]=re),!0):!1}function Ve(O,re){let ne=g,we=!1;if(O){ne=f.get(re),ne===void 0&&(ne=[],f.set(re,ne));let ge=O.textures;if(ne.length!==ge.length||ne[0]!==i.COLOR_ATTACHMENT0){for(let Se=0,Ge=ge.length;Se<Ge;Se++)ne[Se]=i.COLOR_ATTACHMENT0+Se;ne.length=ge.length,we=!0}}else ne[0]!==i.BACK&&(ne[0]=i.BACK,we=!0);we&&i.drawBuffers(ne)}function ut(O){return y!==O?(i.useProgram(O),y=O,!0):!1}let lt={[fr]:i.FUNC_ADD,[A0]:i.FUNC_SUBTRACT,[E0]:i.FUNC_REVERSE_SUBTRACT};lt[T0]=i.MIN,lt[C0]=i.MAX;let nt={[R0]:i.ZERO,[P0]:i.ONE,[I0]:i.SRC_COLOR,[Jd]:i.SRC_ALPHA,[O0]:i.SRC_ALPHA_SATURATE,[U0]:i.DST_COLOR,[D0]:i.DST_ALPHA,[L0]:i.ONE_MINUS_SRC_COLOR,[Kd]:i.ONE_MINUS_SRC_ALPHA,[F0]:i.ONE_MINUS_DST_COLOR,[N0]:i.ONE_MINUS_DST_ALPHA,[B0]:i.CONSTANT_COLOR,[k0]:i.ONE_MINUS_CONSTANT_COLOR,[z0]:i.CONSTANT_ALPHA,[V0]:i.ONE_MINUS_CONSTANT_ALPHA};function Wt(O,re,ne,we,ge,Se,Ge,Je,le,Oe){if(O===dr){m===!0&&(We(i.BLEND),m=!1);return}if(m===!1&&(be(i.BLEND),m=!0),O!==w0){if(O!==p||Oe!==L){if((v!==fr||C!==fr)&&(i.blendEquation(i.FUNC_ADD),v=fr,C=fr),Oe)switch(O){case bo:i.blendFuncSeparate(i.ONE,i.ONE_MINUS_SRC_ALPHA,i.ONE,i.ONE_MINUS_SRC_ALPHA);break;case Yd:i.blendFunc(i.ONE,i.ONE);break;case $d:i.blendFuncSeparate(i.ZERO,i.ONE_MINUS_SRC_COLOR,i.ZERO,i.ONE);break;case Zd:i.blendFuncSeparate(i.DST_COLOR,i.ONE_MINUS_SRC_ALPHA,i.ZERO,i.ONE);break;default:et("WebGLState: Invalid blending: ",O);break}else switch(O){case bo:i.blendFuncSeparate(i.SRC_ALPHA,i.ONE_MINUS_SRC_ALPHA,i.ONE,i.ONE_MINUS_SRC_ALPHA);break;case Yd:i.blendFuncSeparate(i.SRC_ALPHA,i.ONE,i.ONE,i.ONE);break;case $d:et("WebGLState: SubtractiveBlending requires material.premultipliedAlpha = true");break;case Zd:et("WebGLState: MultiplyBlending requires material.premultipliedAlpha = true");break;default:et("WebGLState: Invalid blending: ",O);break}T=null,S=null,E=null,x=null,A.set(0,0,0),F=0,p=O,L=Oe}return}ge=ge||re,Se=Se||ne,Ge=Ge||we,(re!==v||ge!==C)&&(i.blendEquationSeparate(lt[re],lt[ge]),v=re,C=ge),(ne!==T||we!==S||Se!==E||Ge!==x)&&(i.blendFuncSeparate(nt[ne],nt[we],nt[Se],nt[Ge]),T=ne,S=we,E=Se,x=Ge),(Je.equals(A)===!1||le!==F)&&(i.blendColor(Je.r,Je.g,Je.b,le),A.copy(Je),F=le),p=O,L=!1}function Ot(O,re){O.side===Ji?We(i.CULL_FACE):be(i.CULL_FACE);let ne=O.side===Cn;re&&(ne=!ne),rn(ne),O.blending===bo&&O.transparent===!1?Wt(dr):Wt(O.blending,O.blendEquation,O.blendSrc,O.blendDst,O.blendEquationAlpha,O.blendSrcAlpha,O.blendDstAlpha,O.blendColor,O.blendAlpha,O.premultipliedAlpha),o.setFunc(O.depthFunc),o.setTest(O.depthTest),o.setMask(O.depthWrite),r.setMask(O.colorWrite);let we=O.stencilWrite;a.setTest(we),we&&(a.setMask(O.stencilWriteMask),a.setFunc(O.stencilFunc,O.stencilRef,O.stencilFuncMask),a.setOp(O.stencilFail,O.stencilZFail,O.stencilZPass)),yt(O.polygonOffset,O.polygonOffsetFactor,O.polygonOffsetUnits),O.alphaToCoverage===!0?be(i.SAMPLE_ALPHA_TO_COVERAGE):We(i.SAMPLE_ALPHA_TO_COVERAGE)}function rn(O){I!==O&&(O?i.frontFace(i.CW):i.frontFace(i.CCW),I=O)}function It(O){O!==S0?(be(i.CULL_FACE),O!==k&&(O===qd?i.cullFace(i.BACK):O===b0?i.cullFace(i.FRONT):i.cullFace(i.FRONT_AND_BACK))):We(i.CULL_FACE),k=O}function vn(O){O!==V&&(H&&i.lineWidth(O),V=O)}function yt(O,re,ne){O?(be(i.POLYGON_OFFSET_FILL),(N!==re||W!==ne)&&(N=re,W=ne,o.getReversed()&&(re=-re,ne=-ne),i.polygonOffset(re,ne))):We(i.POLYGON_OFFSET_FILL)}function fn(O){O?be(i.SCISSOR_TEST):We(i.SCISSOR_TEST)}function Yt(O){O===void 0&&(O=i.TEXTURE0+$-1),Q!==O&&(i.activeTexture(O),Q=O)}function on(O,re,ne){ne===void 0&&(Q===null?ne=i.TEXTURE0+$-1:ne=Q);let we=se[ne];we===void 0&&(we={type:void 0,texture:void 0},se[ne]=we),(we.type!==O||we.texture!==re)&&(Q!==ne&&(i.activeTexture(ne),Q=ne),i.bindTexture(O,re||Te[O]),we.type=O,we.texture=re)}function B(){let O=se[Q];O!==void 0&&O.type!==void 0&&(i.bindTexture(O.type,null),O.type=void 0,O.texture=void 0)}function Re(){try{i.compressedTexImage2D(...arguments)}catch(O){et("WebGLState:",O)}}function $e(){try{i.compressedTexImage3D(...arguments)}catch(O){et("WebGLState:",O)}}function rt(){try{i.texSubImage2D(...arguments)}catch(O){et("WebGLState:",O)}}function Me(){try{i.texSubImage3D(...arguments)}catch(O){et("WebGLState:",O)}}function Nt(){try{i.compressedTexSubImage2D(...arguments)}catch(O){et("WebGLState:",O)}}function ze(){try{i.compressedTexSubImage3D(...arguments)}catch(O){et("WebGLState:",O)}}function qe(){try{i.texStorage2D(...arguments)}catch(O){et("WebGLState:",O)}}function R(){try{i.texStorage3D(...arguments)}catch(O){et("WebGLState:",O)}}function b(){try{i.texImage2D(...arguments)}catch(O){et("WebGLState:",O)}}function q(){try{i.texImage3D(...arguments)}catch(O){et("WebGLState:",O)}}function he(O){return h[O]!==void 0?h[O]:i.getParameter(O)}function oe(O,re){h[O]!==re&&(i.pixelStorei(O,re),h[O]=re)}function _e(O){ee.equals(O)===!1&&(i.scissor(O.x,O.y,O.z,O.w),ee.copy(O))}function ye(O){me.equals(O)===!1&&(i.viewport(O.x,O.y,O.z,O.w),me.copy(O))}function te(O,re){let ne=l.get(re);ne===void 0&&(ne=new WeakMap,l.set(re,ne));let we=ne.get(O);we===void 0&&(we=i.getUniformBlockIndex(re,O.name),i.uniformBlockBinding(re,we,we),ne.set(O,we))}function ie(O,re,ne){let ge=l.get(re).get(O);c[ge]!==ne&&(i.bindBufferBase(i.UNIFORM_BUFFER,ge,ne),c[ge]=ne)}function pe(){i.disable(i.BLEND),i.disable(i.CULL_FACE),i.disable(i.DEPTH_TEST),i.disable(i.POLYGON_OFFSET_FILL),i.disable(i.SCISSOR_TEST),i.disable(i.STENCIL_TEST),i.disable(i.SAMPLE_ALPHA_TO_COVERAGE),i.blendEquation(i.FUNC_ADD),i.blendFunc(i.ONE,i.ZERO),i.blendFuncSeparate(i.ONE,i.ZERO,i.ONE,i.ZERO),i.blendColor(0,0,0,0),i.colorMask(!0,!0,!0,!0),i.clearColor(0,0,0,0),i.depthMask(!0),i.depthFunc(i.LESS),o.setReversed(!1),i.clearDepth(1),i.stencilMask(4294967295),i.stencilFunc(i.ALWAYS,0,4294967295),i.stencilOp(i.KEEP,i.KEEP,i.KEEP),i.clearStencil(0),i.cullFace(i.BACK),i.frontFace(i.CCW),i.polygonOffset(0,0),i.activeTexture(i.TEXTURE0),i.bindFramebuffer(i.FRAMEBUFFER,null),i.bindFramebuffer(i.DRAW_FRAMEBUFFER,null),i.bindFramebuffer(i.READ_FRAMEBUFFER,null),i.useProgram(null),i.lineWidth(1),i.scissor(0,0,i.canvas.width,i.canvas.height),i.viewport(0,0,i.canvas.width,i.canvas.height),i.pixelStorei(i.PACK_ALIGNMENT,4),i.pixelStorei(i.UNPACK_ALIGNMENT,4),i.pixelStorei(i.UNPACK_FLIP_Y_WEBGL,!1),i.pixelStorei(i.UNPACK_PREMULTIPLY_ALPHA_WEBGL,!1),i.pixelStorei(i.UNPACK_COLORSPACE_CONVERSION_WEBGL,i.BROWSER_DEFAULT_WEBGL),i.pixelStorei(i.PACK_ROW_LENGTH,0),i.pixelStorei(i.PACK_SKIP_PIXELS,0),i.pixelStorei(i.PACK_SKIP_ROWS,0),i.pixelStorei(i.UNPACK_ROW_LENGTH,0),i.pixelStorei(i.UNPACK_IMAGE_HEIGHT,0),i.pixelStorei(i.UNPACK_SKIP_PIXELS,0),i.pixelStorei(i.UNPACK_SKIP_ROWS,0),i.pixelStorei(i.UNPACK_SKIP_IMAGES,0),u={},h={},Q=null,se={},d={},c={},f=new WeakMap,g=[],y=null,m=!1,p=null,v=null,T=null,S=null,C=null,E=null,x=null,A=new je(0,0,0),F=0,L=!1,I=null,k=null,V=null,N=null,W=null,ee.set(0,0,i.canvas.width,i.canvas.height),me.set(0,0,i.canvas.width,i.canvas.height),r.reset(),o.reset(),a.reset()}return{buffers:{color:r,depth:o,stencil:a},enable:be,disable:We,bindFramebuffer:st,drawBuffers:Ve,useProgram:ut,setBlending:Wt,setMaterial:Ot,setFlipSided:rn,setCullFace:It,setLineWidth:vn,setPolygonOffset:yt,setScissorTest:fn,activeTexture:Yt,bindTexture:on,unbindTexture:B,compressedTexImage2D:Re,compressedTexImage3D:$e,texImage2D:b,texImage3D:q,pixelStorei:oe,getParameter:he,updateUBOMapping:te,uniformBlockBinding:ie,texStorage2D:qe,texStorage3D:R,texSubImage2D:rt,texSubImage3D:Me,compressedTexSubImage2D:Nt,compressedTexSubImage3D:ze,scissor:_e,viewport:ye,reset:pe}}function AA(i,e,t,n,s,r,o){let a=e.has("WEBGL_multisampled_render_to_texture")?e.get("WEBGL_multisampled_render_to_texture"):null,c=typeof navigator>"u"?!1:/OculusBrowser/g.test(navigator.userAgent),l=new He,u=new WeakMap,h=new Set,d,f=new WeakMap,g=new Set,y=new FinalizationRegistry(R=>g.delete(R)),m=!1;try{m=typeof OffscreenCanvas<"u"&&new OffscreenCanvas(1,1).getContext("2d")!==null}catch{}function p(R,b){return m?new OffscreenCanvas(R,b):ha("canvas")}function v(R,b,q){let he=1,oe=qe(R);if((oe.width>q||oe.height>q)&&(he=q/Math.max(oe.width,oe.height)),he<1)if(typeof HTMLImageElement<"u"&&R instanceof HTMLImageElement||typeof HTMLCanvasElement<"u"&&R instanceof HTMLCanvasElement||typeof ImageBitmap<"u"&&R instanceof ImageBitmap||typeof VideoFrame<"u"&&R instanceof VideoFrame){let _e=Math.floor(he*oe.width),ye=Math.floor(he*oe.height);d===void 0&&(d=p(_e,ye));let te=b?p(_e,ye):d;return te.width=_e,te.height=ye,te.getContext("2d").drawImage(R,0,0,_e,ye),Ye("WebGLRenderer: Texture has been resized from ("+oe.width+"x"+oe.height+") to ("+_e+"x"+ye+")."),te}else return"data"in R&&Ye("WebGLRenderer: Image in DataTexture is too big ("+oe.width+"x"+oe.height+")."),R;return R}function T(R){return R.generateMipmaps}function S(R){i.generateMipmap(R)}function C(R){return R.isWebGLCubeRenderTarget?i.TEXTURE_CUBE_MAP:R.isWebGL3DRenderTarget?i.TEXTURE_3D:R.isWebGLArrayRenderTarget||R.isCompressedArrayTexture?i.TEXTURE_2D_ARRAY:i.TEXTURE_2D}function E(R,b,q,he,oe,_e=!1){if(R!==null){if(i[R]!==void 0)return i[R];Ye("WebGLRenderer: Attempt to use non-existing WebGL internal format '"+R+"'")}let ye;he&&(ye=e.get("EXT_texture_norm16"),ye||Ye("WebGLRenderer: Unable to use normalized textures without EXT_texture_norm16 extension"));let te=b;if(b===i.RED&&(q===i.FLOAT&&(te=i.R32F),q===i.HALF_FLOAT&&(te=i.R16F),q===i.UNSIGNED_BYTE&&(te=i.R8),q===i.UNSIGNED_SHORT&&ye&&(te=ye.R16_EXT),q===i.SHORT&&ye&&(te=ye.R16_SNORM_EXT)),b===i.RED_INTEGER&&(q===i.UNSIGNED_BYTE&&(te=i.R8UI),q===i.UNSIGNED_SHORT&&(te=i.R16UI),q===i.UNSIGNED_INT&&(te=i.R32UI),q===i.BYTE&&(te=i.R8I),q===i.SHORT&&(te=i.R16I),q===i.INT&&(te=i.R32I)),b===i.RG&&(q===i.FLOAT&&(te=i.RG32F),q===i.HALF_FLOAT&&(te=i.RG16F),q===i.UNSIGNED_BYTE&&(te=i.RG8),q===i.UNSIGNED_SHORT&&ye&&(te=ye.RG16_EXT),q===i.SHORT&&ye&&(te=ye.RG16_SNORM_EXT)),b===i.RG_INTEGER&&(q===i.UNSIGNED_BYTE&&(te=i.RG8UI),q===i.UNSIGNED_SHORT&&(te=i.RG16UI),q===i.UNSIGNED_INT&&(te=i.RG32UI),q===i.BYTE&&(te=i.RG8I),q===i.SHORT&&(te=i.RG16I),q===i.INT&&(te=i.RG32I)),b===i.RGB_INTEGER&&(q===i.UNSIGNED_BYTE&&(te=i.RGB8UI),q===i.UNSIGNED_SHORT&&(te=i.RGB16UI),q===i.UNSIGNED_INT&&(te=i.RGB32UI),q===i.BYTE&&(te=i.RGB8I),q===i.SHORT&&(te=i.RGB16I),q===i.INT&&(te=i.RGB32I)),b===i.RGBA_INTEGER&&(q===i.UNSIGNED_BYTE&&(te=i.RGBA8UI),q===i.UNSIGNED_SHORT&&(te=i.RGBA16UI),q===i.UNSIGNED_INT&&(te=i.RGBA32UI),q===i.BYTE&&(te=i.RGBA8I),q===i.SHORT&&(te=i.RGBA16I),q===i.INT&&(te=i.RGBA32I)),b===i.RGB&&(q===i.UNSIGNED_SHORT&&ye&&(te=ye.RGB16_EXT),q===i.SHORT&&ye&&(te=ye.RGB16_SNORM_EXT),q===i.UNSIGNED_INT_5_9_9_9_REV&&(te=i.RGB9_E5),q===i.UNSIGNED_INT_10F_11F_11F_REV&&(te=i.R11F_G11F_B10F)),b===i.RGBA){let ie=_e?ca:xt.getTransfer(oe);q===i.FLOAT&&(te=i.RGBA32F),q===i.HALF_FLOAT&&(te=i.RGBA16F),q===i.UNSIGNED_BYTE&&(te=ie===At?i.SRGB8_ALPHA8:i.RGBA8),q===i.UNSIGNED_SHORT&&ye&&(te=ye.RGBA16_EXT),q===i.SHORT&&ye&&(te=ye.RGBA16_SNORM_EXT),q===i.UNSIGNED_SHORT_4_4_4_4&&(te=i.RGBA4),q===i.UNSIGNED_SHORT_5_5_5_1&&(te=i.RGB5_A1)}return(te===i.R16F||te===i.R32F||te===i.RG16F||te===i.RG32F||te===i.RGBA16F||te===i.RGBA32F)&&e.get("EXT_color_buffer_float"),te}function x(R,b){let q;return R?b===null||b===Ni||b===mr?q=i.DEPTH24_STENCIL8:b===Ui?q=i.DEPTH32F_STENCIL8:b===wo&&(q=i.DEPTH24_STENCIL8,Ye("DepthTexture: 16 bit depth attachment is not supported with stencil. Using 24-bit attachment.")):b===null||b===Ni||b===mr?q=i.DEPTH_COMPONENT24:b===Ui?q=i.DEPTH_COMPONENT32F:b===wo&&(q=i.DEPTH_COMPONENT16),q}function A(R,b){return T(R)===!0||R.isFramebufferTexture&&R.minFilter!==Tn&&R.minFilter!==$n?Math.log2(Math.max(b.width,b.height))+1:R.mipmaps.length>0?R.mipmaps.length:R.isCompressedTexture&&Array.isArray(R.image)?b.mipmaps.length:1}function F(R){let b=new WeakRef(R);n.get(R).__ref=b,g.add(b),y.register(R,b,b)}function L(R){let b=n.get(R).__ref;b!==void 0&&(g.delete(b),y.unregister(b))}function I(R){V(R.target)}function k(R){N(R.target)}function V(R){R.removeEventListener("dispose",I),L(R),$(R),R.isVideoTexture&&u.delete(R),R.isHTMLTexture&&h.delete(R)}function N(R){R.removeEventListener("dispose",k),L(R),ce(R)}function W(){for(let R of g){let b=R.deref();b!==void 0&&(b.isRenderTarget===!0?N(b):V(b))}g.clear(),h.clear()}function $(R){let b=n.get(R);if(b.__webglInit===void 0)return;let q=R.source,he=f.get(q);if(he){let oe=he[b.__cacheKey];oe.usedTimes--,oe.usedTimes===0&&H(R),Object.keys(he).length===0&&f.delete(q)}n.remove(R)}function H(R){let b=n.get(R);i.deleteTexture(b.__webglTexture);let q=R.source,he=f.get(q);delete he[b.__cacheKey],o.memory.textures--}function ce(R){let b=n.get(R);b.__depthDisposeCallback&&b.__depthDisposeCallback();let q=R.depthTexture;if(q&&q.renderTarget===R&&V(q),R.isWebGLCubeRenderTarget)for(let oe=0;oe<6;oe++){if(Array.isArray(b.__webglFramebuffer[oe]))for(let _e=0;_e<b.__webglFramebuffer[oe].length;_e++)i.deleteFramebuffer(b.__webglFramebuffer[oe][_e]);else i.deleteFramebuffer(b.__webglFramebuffer[oe]);b.__webglDepthbuffer&&i.deleteRenderbuffer(b.__webglDepthbuffer[oe])}else{if(Array.isArray(b.__webglFramebuffer))for(let oe=0;oe<b.__webglFramebuffer.length;oe++)i.deleteFramebuffer(b.__webglFramebuffer[oe]);else i.deleteFramebuffer(b.__webglFramebuffer);if(b.__webglDepthbuffer&&i.deleteRenderbuffer(b.__webglDepthbuffer),b.__webglMultisampledFramebuffer&&i.deleteFramebuffer(b.__webglMultisampledFramebuffer),b.__webglColorRenderbuffer)for(let oe=0;oe<b.__webglColorRenderbuffer.length;oe++)b.__webglColorRenderbuffer[oe]&&i.deleteRenderbuffer(b.__webglColorRenderbuffer[oe]);b.__webglDepthRenderbuffer&&i.deleteRenderbuffer(b.__webglDepthRenderbuffer)}let he=R.textures;for(let oe=0,_e=he.length;oe<_e;oe++){let ye=n.get(he[oe]);ye.__webglTexture&&(i.deleteTexture(ye.__webglTexture),o.memory.textures--),n.remove(he[oe])}n.remove(R)}let K=0;function Q(){K=0}function se(){return K}function de(R){K=R}function ue(){let R=K;return R>=s.maxTextures&&Ye("WebGLTextures: Trying to use "+(R+1)+" texture units while this GPU supports only "+s.maxTextures),K+=1,R}function ee(R){let b=[];return b.push(R.wrapS),b.push(R.wrapT),b.push(R.wrapR||0),b.push(R.magFilter),b.push(R.minFilter),b.push(R.anisotropy),b.push(R.internalFormat),b.push(R.format),b.push(R.type),b.push(R.generateMipmaps),b.push(R.mipmapsAutoUpdate),b.push(R.premultiplyAlpha),b.push(R.flipY),b.push(R.unpackAlignment),b.push(R.colorSpace),b.join()}function me(R,b){let q=n.get(R);if(R.isVideoTexture&&Nt(R),R.isRenderTargetTexture===!1&&R.isExternalTexture!==!0&&R.version>0&&q.__version!==R.version){let he=R.image;if(he===null)Ye("WebGLRenderer: Texture marked for update but no image data found.");else if(he.complete===!1)Ye("WebGLRenderer: Texture marked for update but image is incomplete");else{Ot(q,R,b);return}}else R.isExternalTexture&&(q.__webglTexture=R.sourceTexture?R.sourceTexture:null);t.bindTexture(i.TEXTURE_2D,q.__webglTexture,i.TEXTURE0+b)}function xe(R,b){let q=n.get(R);if(R.isRenderTargetTexture===!1&&R.version>0&&q.__version!==R.version){Ot(q,R,b);return}else R.isExternalTexture&&(q.__webglTexture=R.sourceTexture?R.sourceTexture:null);t.bindTexture(i.TEXTURE_2D_ARRAY,q.__webglTexture,i.TEXTURE0+b)}function Te(R,b){let q=n.get(R);if(R.isRenderTargetTexture===!1&&R.version>0&&q.__version!==R.version){Ot(q,R,b);return}t.bindTexture(i.TEXTURE_3D,q.__webglTexture,i.TEXTURE0+b)}function be(R,b){let q=n.get(R);if(R.version>0&&q.__version!==R.version){rn(q,R,b);return}t.bindTexture(i.TEXTURE_CUBE_MAP,q.__webglTexture,i.TEXTURE0+b)}let We={[fc]:i.REPEAT,[Yi]:i.CLAMP_TO_EDGE,[pc]:i.MIRRORED_REPEAT},st={[Tn]:i.NEAREST,[W0]:i.NEAREST_MIPMAP_NEAREST,[ka]:i.NEAREST_MIPMAP_LINEAR,[$n]:i.LINEAR,[jc]:i.LINEAR_MIPMAP_NEAREST,[Ms]:i.LINEAR_MIPMAP_LINEAR},Ve={[$0]:i.NEVER,[gf]:i.ALWAYS,[Z0]:i.LESS,[pf]:i.LEQUAL,[J0]:i.EQUAL,[mf]:i.GEQUAL,[K0]:i.GREATER,[j0]:i.NOTEQUAL};function ut(R,b){if(b.type===Ui&&e.has("OES_texture_float_linear")===!1&&(b.magFilter===$n||b.magFilter===jc||b.magFilter===ka||b.magFilter===Ms||b.minFilter===$n||b.minFilter===jc||b.minFilter===ka||b.minFilter===Ms)&&Ye("WebGLRenderer: Unable to use linear filtering with floating point textures. OES_texture_float_linear not supported on this device."),i.texParameteri(R,i.TEXTURE_WRAP_S,We[b.wrapS]),i.texParameteri(R,i.TEXTURE_WRAP_T,We[b.wrapT]),(R===i.TEXTURE_3D||R===i.TEXTURE_2D_ARRAY)&&i.texParameteri(R,i.TEXTURE_WRAP_R,We[b.wrapR]),i.texParameteri(R,i.TEXTURE_MAG_FILTER,st[b.magFilter]),i.texParameteri(R,i.TEXTURE_MIN_FILTER,st[b.minFilter]),b.compareFunction&&(i.texParameteri(R,i.TEXTURE_COMPARE_MODE,i.COMPARE_REF_TO_TEXTURE),i.texParameteri(R,i.TEXTURE_COMPARE_FUNC,Ve[b.compareFunction])),e.has("EXT_texture_filter_anisotropic")===!0){if(b.magFilter===Tn||b.minFilter!==ka&&b.minFilter!==Ms||b.type===Ui&&e.has("OES_texture_float_linear")===!1)return;if(b.anisotropy>1||n.get(b).__currentAnisotropy){let q=e.get("EXT_texture_filter_anisotropic");i.texParameterf(R,q.TEXTURE_MAX_ANISOTROPY_EXT,Math.min(b.anisotropy,s.getMaxAnisotropy())),n.get(b).__currentAnisotropy=b.anisotropy}}}function lt(R,b){let q=!1;R.__webglInit===void 0&&(R.__webglInit=!0,b.addEventListener("dispose",I),F(b));let he=b.source,oe=f.get(he);oe===void 0&&(oe={},f.set(he,oe));let _e=ee(b);if(_e!==R.__cacheKey){oe[_e]===void 0&&(oe[_e]={texture:i.createTexture(),usedTimes:0},o.memory.textures++,q=!0),oe[_e].usedTimes++;let ye=oe[R.__cacheKey];ye!==void 0&&(oe[R.__cacheKey].usedTimes--,ye.usedTimes===0&&H(b)),R.__cacheKey=_e,R.__webglTexture=oe[_e].texture}return q}function nt(R,b,q){return Math.floor(Math.floor(R/q)/b)}function Wt(R,b,q,he){let _e=R.updateRanges;if(_e.length===0)t.texSubImage2D(i.TEXTURE_2D,0,0,0,b.width,b.height,q,he,b.data);else{_e.sort((O,re)=>O.start-re.start);let ye=0;for(let O=1;O<_e.length;O++){let re=_e[ye],ne=_e[O],we=re.start+re.count,ge=nt(ne.start,b.width,4),Se=nt(re.start,b.width,4);ne.start<=we+1&&ge===Se&&nt(ne.start+ne.count-1,b.width,4)===ge?re.count=Math.max(re.count,ne.start+ne.count-re.start):(++ye,_e[ye]=ne)}_e.length=ye+1;let te=t.getParameter(i.UNPACK_ROW_LENGTH),ie=t.getParameter(i.UNPACK_SKIP_PIXELS),pe=t.getParameter(i.UNPACK_SKIP_ROWS);t.pixelStorei(i.UNPACK_ROW_LENGTH,b.width);for(let O=0,re=_e.length;O<re;O++){let ne=_e[O],we=Math.floor(ne.start/4),ge=Math.ceil(ne.count/4),Se=we%b.width,Ge=Math.floor(we/b.width),Je=ge,le=1;t.pixelStorei(i.UNPACK_SKIP_PIXELS,Se),t.pixelStorei(i.UNPACK_SKIP_ROWS,Ge),t.texSubImage2D(i.TEXTURE_2D,0,Se,Ge,Je,le,q,he,b.data)}R.clearUpdateRanges(),t.pixelStorei(i.UNPACK_ROW_LENGTH,te),t.pixelStorei(i.UNPACK_SKIP_PIXELS,ie),t.pixelStorei(i.UNPACK_SKIP_ROWS,pe)}}function Ot(R,b,q){let he=i.TEXTURE_2D;(b.isDataArrayTexture||b.isCompressedArrayTexture)&&(he=i.TEXTURE_2D_ARRAY),b.isData3DTexture&&(he=i.TEXTURE_3D);let oe=lt(R,b),_e=b.source;t.bindTexture(he,R.__webglTexture,i.TEXTURE0+q);let ye=n.get(_e);if(_e.version!==ye.__version||oe===!0){if(t.activeTexture(i.TEXTURE0+q),(typeof ImageBitmap<"u"&&b.image instanceof ImageBitmap)===!1){let le=xt.getPrimaries(xt.workingColorSpace),Oe=b.colorSpace===As?null:xt.getPrimaries(b.colorSpace),Ke=b.colorSpace===As||le===Oe?i.NONE:i.BROWSER_DEFAULT_WEBGL;t.pixelStorei(i.UNPACK_FLIP_Y_WEBGL,b.flipY),t.pixelStorei(i.UNPACK_PREMULTIPLY_ALPHA_WEBGL,b.premultiplyAlpha),t.pixelStorei(i.UNPACK_COLORSPACE_CONVERSION_WEBGL,Ke)}t.pixelStorei(i.UNPACK_ALIGNMENT,b.unpackAlignment);let ie=v(b.image,!1,s.maxTextureSize);ie=ze(b,ie);let pe=r.convert(b.format,b.colorSpace),O=r.convert(b.type),re=E(b.internalFormat,pe,O,b.normalized,b.colorSpace,b.isVideoTexture);ut(he,b);let ne,we=b.mipmaps,ge=b.isVideoTexture!==!0,Se=ye.__version===void 0||oe===!0,Ge=_e.dataReady,Je=A(b,ie);if(b.isDepthTexture)re=x(b.format===ws,b.type),Se&&(ge?t.texStorage2D(i.TEXTURE_2D,1,re,ie.width,ie.height):t.texImage2D(i.TEXTURE_2D,0,re,ie.width,ie.height,0,pe,O,null));else if(b.isDataTexture)if(we.length>0){ge&&Se&&t.texStorage2D(i.TEXTURE_2D,Je,re,we[0].width,we[0].height);for(let le=0,Oe=we.length;le<Oe;le++)ne=we[le],ge?Ge&&t.texSubImage2D(i.TEXTURE_2D,le,0,0,ne.width,ne.height,pe,O,ne.data):t.texImage2D(i.TEXTURE_2D,le,re,ne.width,ne.height,0,pe,O,ne.data);b.generateMipmaps=!1}else ge?(Se&&t.texStorage2D(i.TEXTURE_2D,Je,re,ie.width,ie.height),Ge&&Wt(b,ie,pe,O)):t.texImage2D(i.TEXTURE_2D,0,re,ie.width,ie.height,0,pe,O,ie.data);else if(b.isCompressedTexture)if(b.isCompressedArrayTexture){ge&&Se&&t.texStorage3D(i.TEXTURE_2D_ARRAY,Je,re,we[0].width,we[0].height,ie.depth);for(let le=0,Oe=we.length;le<Oe;le++)if(ne=we[le],b.format!==Oi)if(pe!==null)if(ge){if(Ge)if(b.layerUpdates.size>0){let Ke=Cf(ne.width,ne.height,b.format,b.type);for(let Ce of b.layerUpdates){let at=ne.data.subarray(Ce*Ke/ne.data.BYTES_PER_ELEMENT,(Ce+1)*Ke/ne.data.BYTES_PER_ELEMENT);t.compressedTexSubImage3D(i.TEXTURE_2D_ARRAY,le,0,0,Ce,ne.width,ne.height,1,pe,at)}}else t.compressedTexSubImage3D(i.TEXTURE_2D_ARRAY,le,0,0,0,ne.width,ne.height,ie.depth,pe,ne.data)}else t.compressedTexImage3D(i.TEXTURE_2D_ARRAY,le,re,ne.width,ne.height,ie.depth,0,ne.data,0,0);else Ye("WebGLRenderer: Attempt to load unsupported compressed texture format in .uploadTexture()");else ge?Ge&&t.texSubImage3D(i.TEXTURE_2D_ARRAY,le,0,0,0,ne.width,ne.height,ie.depth,pe,O,ne.data):t.texImage3D(i.TEXTURE_2D_ARRAY,le,re,ne.width,ne.height,ie.depth,0,pe,O,ne.data);b.layerUpdates.size>0&&b.clearLayerUpdates()}else{ge&&Se&&t.texStorage2D(i.TEXTURE_2D,Je,re,we[0].width,we[0].height);for(let le=0,Oe=we.length;le<Oe;le++)ne=we[le],b.format!==Oi?pe!==null?ge?Ge&&t.compressedTexSubImage2D(i.TEXTURE_2D,le,0,0,ne.width,ne.height,pe,ne.data):t.compressedTexImage2D(i.TEXTURE_2D,le,re,ne.width,ne.height,0,ne.data):Ye("WebGLRenderer: Attempt to load unsupported compressed texture format in .uploadTexture()"):ge?Ge&&t.texSubImage2D(i.TEXTURE_2D,le,0,0,ne.width,ne.height,pe,O,ne.data):t.texImage2D(i.TEXTURE_2D,le,re,ne.width,ne.height,0,pe,O,ne.data)}else if(b.isDataArrayTexture)if(ge){if(Se&&t.texStorage3D(i.TEXTURE_2D_ARRAY,Je,re,ie.width,ie.height,ie.depth),Ge)if(b.layerUpdates.size>0){let le=Cf(ie.width,ie.height,b.format,b.type);for(let Oe of b.layerUpdates){let Ke=ie.data.subarray(Oe*le/ie.data.BYTES_PER_ELEMENT,(Oe+1)*le/ie.data.BYTES_PER_ELEMENT);t.texSubImage3D(i.TEXTURE_2D_ARRAY,0,0,0,Oe,ie.width,ie.height,1,pe,O,Ke)}b.clearLayerUpdates()}else t.texSubImage3D(i.TEXTURE_2D_ARRAY,0,0,0,0,ie.width,ie.height,ie.depth,pe,O,ie.data)}else t.texImage3D(i.TEXTURE_2D_ARRAY,0,re,ie.width,ie.height,ie.depth,0,pe,O,ie.data);else if(b.isData3DTexture)ge?(Se&&t.texStorage3D(i.TEXTURE_3D,Je,re,ie.width,ie.height,ie.depth),Ge&&t.texSubImage3D(i.TEXTURE_3D,0,0,0,0,ie.width,ie.height,ie.depth,pe,O,ie.data)):t.texImage3D(i.TEXTURE_3D,0,re,ie.width,ie.height,ie.depth,0,pe,O,ie.data);else if(b.isFramebufferTexture){if(Se)if(ge)t.texStorage2D(i.TEXTURE_2D,Je,re,ie.width,ie.height);else{let le=ie.width,Oe=ie.height;for(let Ke=0;Ke<Je;Ke++)t.texImage2D(i.TEXTURE_2D,Ke,re,le,Oe,0,pe,O,null),le>>=1,Oe>>=1}}else if(b.isHTMLTexture){if("texElementImage2D"in i){let le=i.canvas;if(le.hasAttribute("layoutsubtree")||le.setAttribute("layoutsubtree","true"),ie.parentNode!==le){le.appendChild(ie),h.add(b),le.onpaint=Oe=>{let Ke=Oe.changedElements;for(let Ce of h)Ke.includes(Ce.image)&&(Ce.needsUpdate=!0)},le.requestPaint();return}if(i.texElementImage2D.length===3)i.texElementImage2D(i.TEXTURE_2D,i.RGBA8,ie);else{let Ke=i.RGBA,Ce=i.RGBA,at=i.UNSIGNED_BYTE;i.texElementImage2D(i.TEXTURE_2D,0,Ke,Ce,at,ie)}i.texParameteri(i.TEXTURE_2D,i.TEXTURE_MIN_FILTER,i.LINEAR),i.texParameteri(i.TEXTURE_2D,i.TEXTURE_WRAP_S,i.CLAMP_TO_EDGE),i.texParameteri(i.TEXTURE_2D,i.TEXTURE_WRAP_T,i.CLAMP_TO_EDGE)}}else if(we.length>0){if(ge&&Se){let le=qe(we[0]);t.texStorage2D(i.TEXTURE_2D,Je,re,le.width,le.height)}for(let le=0,Oe=we.length;le<Oe;le++)ne=we[le],ge?Ge&&t.texSubImage2D(i.TEXTURE_2D,le,0,0,pe,O,ne):t.texImage2D(i.TEXTURE_2D,le,re,pe,O,ne);b.generateMipmaps=!1}else if(ge){if(Se){let le=qe(ie);t.texStorage2D(i.TEXTURE_2D,Je,re,le.width,le.height)}Ge&&t.texSubImage2D(i.TEXTURE_2D,0,0,0,pe,O,ie)}else t.texImage2D(i.TEXTURE_2D,0,re,pe,O,ie);T(b)&&b.mipmapsAutoUpdate===!0&&S(he),ye.__version=_e.version,b.onUpdate&&b.onUpdate(b)}R.__version=b.version}function rn(R,b,q){if(b.image.length!==6)return;let he=lt(R,b),oe=b.source;t.bindTexture(i.TEXTURE_CUBE_MAP,R.__webglTexture,i.TEXTURE0+q);let _e=n.get(oe);if(oe.version!==_e.__version||he===!0){t.activeTexture(i.TEXTURE0+q);let ye=xt.getPrimaries(xt.workingColorSpace),te=b.colorSpace===As?null:xt.getPrimaries(b.colorSpace),ie=b.colorSpace===As||ye===te?i.NONE:i.BROWSER_DEFAULT_WEBGL;t.pixelStorei(i.UNPACK_FLIP_Y_WEBGL,b.flipY),t.pixelStorei(i.UNPACK_PREMULTIPLY_ALPHA_WEBGL,b.premultiplyAlpha),t.pixelStorei(i.UNPACK_ALIGNMENT,b.unpackAlignment),t.pixelStorei(i.UNPACK_COLORSPACE_CONVERSION_WEBGL,ie);let pe=b.isCompressedTexture||b.image[0].isCompressedTexture,O=b.image[0]&&b.image[0].isDataTexture,re=[];for(let Ce=0;Ce<6;Ce++)!pe&&!O?re[Ce]=v(b.image[Ce],!0,s.maxCubemapSize):re[Ce]=O?b.image[Ce].image:b.image[Ce],re[Ce]=ze(b,re[Ce]);let ne=re[0],we=r.convert(b.format,b.colorSpace),ge=r.convert(b.type),Se=E(b.internalFormat,we,ge,b.normalized,b.colorSpace),Ge=b.isVideoTexture!==!0,Je=_e.__version===void 0||he===!0,le=oe.dataReady,Oe=A(b,ne);ut(i.TEXTURE_CUBE_MAP,b);let Ke;if(b.isDepthTexture){if(Se=x(b.format===ws,b.type),Je)if(Ge)t.texStorage2D(i.TEXTURE_CUBE_MAP,1,Se,ne.width,ne.height);else for(let Ce=0;Ce<6;Ce++)t.texImage2D(i.TEXTURE_CUBE_MAP_POSITIVE_X+Ce,0,Se,ne.width,ne.height,0,we,ge,null)}else if(pe){Ge&&Je&&t.texStorage2D(i.TEXTURE_CUBE_MAP,Oe,Se,ne.width,ne.height);for(let Ce=0;Ce<6;Ce++){Ke=re[Ce].mipmaps;for(let at=0;at<Ke.length;at++){let Bt=Ke[at];b.format!==Oi?we!==null?Ge?le&&t.compressedTexSubImage2D(i.TEXTURE_CUBE_MAP_POSITIVE_X+Ce,at,0,0,Bt.width,Bt.height,we,Bt.data):t.compressedTexImage2D(i.TEXTURE_CUBE_MAP_POSITIVE_X+Ce,at,Se,Bt.width,Bt.height,0,Bt.data):Ye("WebGLRenderer: Attempt to load unsupported compressed texture format in .setTextureCube()"):Ge?le&&t.texSubImage2D(i.TEXTURE_CUBE_MAP_POSITIVE_X+Ce,at,0,0,Bt.width,Bt.height,we,ge,Bt.data):t.texImage2D(i.TEXTURE_CUBE_MAP_POSITIVE_X+Ce,at,Se,Bt.width,Bt.height,0,we,ge,Bt.data)}}}else{if(Ke=b.mipmaps,Ge&&Je){Ke.length>0&&Oe++;let Ce=qe(re[0]);t.texStorage2D(i.TEXTURE_CUBE_MAP,Oe,Se,Ce.width,Ce.height)}for(let Ce=0;Ce<6;Ce++)if(O){Ge?le&&t.texSubImage2D(i.TEXTURE_CUBE_MAP_POSITIVE_X+Ce,0,0,0,re[Ce].width,re[Ce].height,we,ge,re[Ce].data):t.texImage2D(i.TEXTURE_CUBE_MAP_POSITIVE_X+Ce,0,Se,re[Ce].width,re[Ce].height,0,we,ge,re[Ce].data);for(let at=0;at<Ke.length;at++){let zn=Ke[at].image[Ce].image;Ge?le&&t.texSubImage2D(i.TEXTURE_CUBE_MAP_POSITIVE_X+Ce,at+1,0,0,zn.width,zn.height,we,ge,zn.data):t.texImage2D(i.TEXTURE_CUBE_MAP_POSITIVE_X+Ce,at+1,Se,zn.width,zn.height,0,we,ge,zn.data)}}else{Ge?le&&t.texSubImage2D(i.TEXTURE_CUBE_MAP_POSITIVE_X+Ce,0,0,0,we,ge,re[Ce]):t.texImage2D(i.TEXTURE_CUBE_MAP_POSITIVE_X+Ce,0,Se,we,ge,re[Ce]);for(let at=0;at<Ke.length;at++){let Bt=Ke[at];Ge?le&&t.texSubImage2D(i.TEXTURE_CUBE_MAP_POSITIVE_X+Ce,at+1,0,0,we,ge,Bt.image[Ce]):t.texImage2D(i.TEXTURE_CUBE_MAP_POSITIVE_X+Ce,at+1,Se,we,ge,Bt.image[Ce])}}}T(b)&&b.mipmapsAutoUpdate===!0&&S(i.TEXTURE_CUBE_MAP),_e.__version=oe.version,b.onUpdate&&b.onUpdate(b)}R.__version=b.version}function It(R,b,q,he,oe,_e){let ye=r.convert(q.format,q.colorSpace),te=r.convert(q.type),ie=E(q.internalFormat,ye,te,q.normalized,q.colorSpace),pe=n.get(b),O=n.get(q);if(O.__renderTarget=b,!pe.__hasExternalTextures){let re=Math.max(1,b.width>>_e),ne=Math.max(1,b.height>>_e);oe===i.TEXTURE_3D||oe===i.TEXTURE_2D_ARRAY?t.texImage3D(oe,_e,ie,re,ne,b.depth,0,ye,te,null):t.texImage2D(oe,_e,ie,re,ne,0,ye,te,null)}t.bindFramebuffer(i.FRAMEBUFFER,R),Me(b)?a.framebufferTexture2DMultisampleEXT(i.FRAMEBUFFER,he,oe,O.__webglTexture,0,rt(b)):(oe===i.TEXTURE_2D||oe>=i.TEXTURE_CUBE_MAP_POSITIVE_X&&oe<=i.TEXTURE_CUBE_MAP_NEGATIVE_Z)&&i.framebufferTexture2D(i.FRAMEBUFFER,he,oe,O.__webglTexture,_e),t.bindFramebuffer(i.FRAMEBUFFER,null)}function vn(R,b,q){if(i.bindRenderbuffer(i.RENDERBUFFER,R),b.depthBuffer){let he=b.depthTexture,oe=he&&he.isDepthTexture?he.type:null,_e=x(b.stencilBuffer,oe),ye=b.stencilBuffer?i.DEPTH_STENCIL_ATTACHMENT:i.DEPTH_ATTACHMENT;Me(b)?a.renderbufferStorageMultisampleEXT(i.RENDERBUFFER,rt(b),_e,b.width,b.height):q?i.renderbufferStorageMultisample(i.RENDERBUFFER,rt(b),_e,b.width,b.height):i.renderbufferStorage(i.RENDERBUFFER,_e,b.width,b.height),i.framebufferRenderbuffer(i.FRAMEBUFFER,ye,i.RENDERBUFFER,R)}else{let he=b.textures;for(let oe=0;oe<he.length;oe++){let _e=he[oe],ye=r.convert(_e.format,_e.colorSpace),te=r.convert(_e.type),ie=E(_e.internalFormat,ye,te,_e.normalized,_e.colorSpace);Me(b)?a.renderbufferStorageMultisampleEXT(i.RENDERBUFFER,rt(b),ie,b.width,b.height):q?i.renderbufferStorageMultisample(i.RENDERBUFFER,rt(b),ie,b.width,b.height):i.renderbufferStorage(i.RENDERBUFFER,ie,b.width,b.height)}}i.bindRenderbuffer(i.RENDERBUFFER,null)}function yt(R,b,q){let he=b.isWebGLCubeRenderTarget===!0;if(t.bindFramebuffer(i.FRAMEBUFFER,R),!(b.depthTexture&&b.depthTexture.isDepthTexture))throw new Error("THREE.WebGLTextures: renderTarget.depthTexture must be an instance of THREE.DepthTexture.");let oe=n.get(b.depthTexture);oe.__renderTarget=b;let _e=he?b.depthTexture.image[0]:b.depthTexture.image;(!oe.__webglTexture||_e.width!==b.width||_e.height!==b.height)&&(_e.width=b.width,_e.height=b.height,b.depthTexture.needsUpdate=!0),he?be(b.depthTexture,0):me(b.depthTexture,0);let ye=oe.__webglTexture,te=rt(b),ie=he?i.TEXTURE_CUBE_MAP_POSITIVE_X+q:i.TEXTURE_2D,pe=b.depthTexture.format===ws?i.DEPTH_STENCIL_ATTACHMENT:i.DEPTH_ATTACHMENT;if(b.depthTexture.format===ys)Me(b)?a.framebufferTexture2DMultisampleEXT(i.FRAMEBUFFER,pe,ie,ye,0,te):i.framebufferTexture2D(i.FRAMEBUFFER,pe,ie,ye,0);else if(b.depthTexture.format===ws)Me(b)?a.framebufferTexture2DMultisampleEXT(i.FRAMEBUFFER,pe,ie,ye,0,te):i.framebufferTexture2D(i.FRAMEBUFFER,pe,ie,ye,0);else throw new Error("THREE.WebGLTextures: Unknown depthTexture format.")}function fn(R){let b=n.get(R),q=R.isWebGLCubeRenderTarget===!0;if(b.__boundDepthTexture!==R.depthTexture){let he=R.depthTexture;if(b.__depthDisposeCallback&&b.__depthDisposeCallback(),he){let oe=()=>{delete b.__boundDepthTexture,delete b.__depthDisposeCallback,he.removeEventListener("dispose",oe)};he.addEventListener("dispose",oe),b.__depthDisposeCallback=oe}b.__boundDepthTexture=he}if(R.depthTexture&&!b.__autoAllocateDepthBuffer)if(q)for(let he=0;he<6;he++)yt(b.__webglFramebuffer[he],R,he);else R.texture.mipmaps.length>0?yt(b.__webglFramebuffer[0],R,0):yt(b.__webglFramebuffer,R,0);else if(q){b.__webglDepthbuffer=[];for(let he=0;he<6;he++)if(t.bindFramebuffer(i.FRAMEBUFFER,b.__webglFramebuffer[he]),b.__webglDepthbuffer[he]===void 0)b.__webglDepthbuffer[he]=i.createRenderbuffer(),vn(b.__webglDepthbuffer[he],R,!1);else{let oe=R.stencilBuffer?i.DEPTH_STENCIL_ATTACHMENT:i.DEPTH_ATTACHMENT,_e=b.__webglDepthbuffer[he];i.bindRenderbuffer(i.RENDERBUFFER,_e),i.framebufferRenderbuffer(i.FRAMEBUFFER,oe,i.RENDERBUFFER,_e)}}else if(R.texture.mipmaps.length>0?t.bindFramebuffer(i.FRAMEBUFFER,b.__webglFramebuffer[0]):t.bindFramebuffer(i.FRAMEBUFFER,b.__webglFramebuffer),b.__webglDepthbuffer===void 0)b.__webglDepthbuffer=i.createRenderbuffer(),vn(b.__webglDepthbuffer,R,!1);else{let oe=R.stencilBuffer?i.DEPTH_STENCIL_ATTACHMENT:i.DEPTH_ATTACHMENT,_e=b.__webglDepthbuffer;i.bindRenderbuffer(i.RENDERBUFFER,_e),i.framebufferRenderbuffer(i.FRAMEBUFFER,oe,i.RENDERBUFFER,_e)}t.bindFramebuffer(i.FRAMEBUFFER,null)}function Yt(R,b,q){let he=n.get(R);b!==void 0&&It(he.__webglFramebuffer,R,R.texture,i.COLOR_ATTACHMENT0,i.TEXTURE_2D,0),q!==void 0&&fn(R)}function on(R){let b=R.texture,q=n.get(R),he=n.get(b);R.addEventListener("dispose",k),F(R);let oe=R.textures,_e=R.isWebGLCubeRenderTarget===!0,ye=oe.length>1;if(ye||(he.__webglTexture===void 0&&(he.__webglTexture=i.createTexture()),he.__version=b.version,o.memory.textures++),_e){q.__webglFramebuffer=[];for(let te=0;te<6;te++)if(b.mipmaps.length>0){q.__webglFramebuffer[te]=[];for(let ie=0;ie<b.mipmaps.length;ie++)q.__webglFramebuffer[te][ie]=i.createFramebuffer()}else q.__webglFramebuffer[te]=i.createFramebuffer()}else{if(b.mipmaps.length>0){q.__webglFramebuffer=[];for(let te=0;te<b.mipmaps.length;te++)q.__webglFramebuffer[te]=i.createFramebuffer()}else q.__webglFramebuffer=i.createFramebuffer();if(ye)for(let te=0,ie=oe.length;te<ie;te++){let pe=n.get(oe[te]);pe.__webglTexture===void 0&&(pe.__webglTexture=i.createTexture(),o.memory.textures++)}if(R.samples>0&&Me(R)===!1){q.__webglMultisampledFramebuffer=i.createFramebuffer(),q.__webglColorRenderbuffer=[],t.bindFramebuffer(i.FRAMEBUFFER,q.__webglMultisampledFramebuffer);for(let te=0;te<oe.length;te++){let ie=oe[te];q.__webglColorRenderbuffer[te]=i.createRenderbuffer(),i.bindRenderbuffer(i.RENDERBUFFER,q.__webglColorRenderbuffer[te]);let pe=r.convert(ie.format,ie.colorSpace),O=r.convert(ie.type),re=E(ie.internalFormat,pe,O,ie.normalized,ie.colorSpace,R.isXRRenderTarget===!0),ne=rt(R);i.renderbufferStorageMultisample(i.RENDERBUFFER,ne,re,R.width,R.height),i.framebufferRenderbuffer(i.FRAMEBUFFER,i.COLOR_ATTACHMENT0+te,i.RENDERBUFFER,q.__webglColorRenderbuffer[te])}i.bindRenderbuffer(i.RENDERBUFFER,null),R.depthBuffer&&(q.__webglDepthRenderbuffer=i.createRenderbuffer(),vn(q.__webglDepthRenderbuffer,R,!0)),t.bindFramebuffer(i.FRAMEBUFFER,null)}}if(_e){t.bindTexture(i.TEXTURE_CUBE_MAP,he.__webglTexture),ut(i.TEXTURE_CUBE_MAP,b);for(let te=0;te<6;te++)if(b.mipmaps.length>0)for(let ie=0;ie<b.mipmaps.length;ie++)It(q.__webglFramebuffer[te][ie],R,b,i.COLOR_ATTACHMENT0,i.TEXTURE_CUBE_MAP_POSITIVE_X+te,ie);else It(q.__webglFramebuffer[te],R,b,i.COLOR_ATTACHMENT0,i.TEXTURE_CUBE_MAP_POSITIVE_X+te,0);T(b)?S(i.TEXTURE_CUBE_MAP):b.mipmaps.length>0&&i.texParameteri(i.TEXTURE_CUBE_MAP,i.TEXTURE_MAX_LEVEL,b.mipmaps.length-1),t.unbindTexture()}else if(ye){for(let te=0,ie=oe.length;te<ie;te++){let pe=oe[te],O=n.get(pe),re=i.TEXTURE_2D;(R.isWebGL3DRenderTarget||R.isWebGLArrayRenderTarget)&&(re=R.isWebGL3DRenderTarget?i.TEXTURE_3D:i.TEXTURE_2D_ARRAY),t.bindTexture(re,O.__webglTexture),ut(re,pe),It(q.__webglFramebuffer,R,pe,i.COLOR_ATTACHMENT0+te,re,0),T(pe)&&S(re)}t.unbindTexture()}else{let te=i.TEXTURE_2D;if((R.isWebGL3DRenderTarget||R.isWebGLArrayRenderTarget)&&(te=R.isWebGL3DRenderTarget?i.TEXTURE_3D:i.TEXTURE_2D_ARRAY),t.bindTexture(te,he.__webglTexture),ut(te,b),b.mipmaps.length>0)for(let ie=0;ie<b.mipmaps.length;ie++)It(q.__webglFramebuffer[ie],R,b,i.COLOR_ATTACHMENT0,te,ie);else It(q.__webglFramebuffer,R,b,i.COLOR_ATTACHMENT0,te,0);T(b)?S(te):b.mipmaps.length>0&&i.texParameteri(te,i.TEXTURE_MAX_LEVEL,b.mipmaps.length-1),t.unbindTexture()}R.depthBuffer&&fn(R)}function B(R){let b=R.textures;for(let q=0,he=b.length;q<he;q++){let oe=b[q];if(T(oe)&&oe.mipmapsAutoUpdate===!0){let _e=C(R),ye=n.get(oe).__webglTexture;t.bindTexture(_e,ye),S(_e),t.unbindTexture()}}}let Re=[];function $e(R){if(R.samples>0){if(Me(R)===!1){let b=R.textures,q=R.width,he=R.height,oe=i.COLOR_BUFFER_BIT,_e=R.stencilBuffer?i.DEPTH_STENCIL_ATTACHMENT:i.DEPTH_ATTACHMENT,ye=n.get(R),te=b.length>1;if(te)for(let pe=0;pe<b.length;pe++)t.bindFramebuffer(i.FRAMEBUFFER,ye.__webglMultisampledFramebuffer),i.framebufferRenderbuffer(i.FRAMEBUFFER,i.COLOR_ATTACHMENT0+pe,i.RENDERBUFFER,null),t.bindFramebuffer(i.FRAMEBUFFER,ye.__webglFramebuffer),i.framebufferTexture2D(i.DRAW_FRAMEBUFFER,i.COLOR_ATTACHMENT0+pe,i.TEXTURE_2D,null,0);t.bindFramebuffer(i.READ_FRAMEBUFFER,ye.__webglMultisampledFramebuffer),R.texture.mipmaps.length>0?t.bindFramebuffer(i.DRAW_FRAMEBUFFER,ye.__webglFramebuffer[0]):t.bindFramebuffer(i.DRAW_FRAMEBUFFER,ye.__webglFramebuffer);for(let pe=0;pe<b.length;pe++){if(R.resolveDepthBuffer&&(R.depthBuffer&&(oe|=i.DEPTH_BUFFER_BIT),R.stencilBuffer&&R.resolveStencilBuffer&&(oe|=i.STENCIL_BUFFER_BIT)),te){i.framebufferRenderbuffer(i.READ_FRAMEBUFFER,i.COLOR_ATTACHMENT0,i.RENDERBUFFER,ye.__webglColorRenderbuffer[pe]);let O=n.get(b[pe]).__webglTexture;i.framebufferTexture2D(i.DRAW_FRAMEBUFFER,i.COLOR_ATTACHMENT0,i.TEXTURE_2D,O,0)}i.blitFramebuffer(0,0,q,he,0,0,q,he,oe,i.NEAREST),c===!0&&(Re.length=0,Re.push(i.COLOR_ATTACHMENT0+pe),R.depthBuffer&&R.storeMultisampledDepthBuffer===!1&&Re.push(_e),i.invalidateFramebuffer(i.READ_FRAMEBUFFER,Re))}if(t.bindFramebuffer(i.READ_FRAMEBUFFER,null),t.bindFramebuffer(i.DRAW_FRAMEBUFFER,null),te)for(let pe=0;pe<b.length;pe++){t.bindFramebuffer(i.FRAMEBUFFER,ye.__webglMultisampledFramebuffer),i.framebufferRenderbuffer(i.FRAMEBUFFER,i.COLOR_ATTACHMENT0+pe,i.RENDERBUFFER,ye.__webglColorRenderbuffer[pe]);let O=n.get(b[pe]).__webglTexture;t.bindFramebuffer(i.FRAMEBUFFER,ye.__webglFramebuffer),i.framebufferTexture2D(i.DRAW_FRAMEBUFFER,i.COLOR_ATTACHMENT0+pe,i.TEXTURE_2D,O,0)}t.bindFramebuffer(i.DRAW_FRAMEBUFFER,ye.__webglMultisampledFramebuffer)}else if(R.depthBuffer&&R.storeMultisampledDepthBuffer===!1&&c){let b=R.stencilBuffer?i.DEPTH_STENCIL_ATTACHMENT:i.DEPTH_ATTACHMENT;i.invalidateFramebuffer(i.DRAW_FRAMEBUFFER,[b])}}}function rt(R){return Math.min(s.maxSamples,R.samples)}function Me(R){let b=n.get(R);return R.samples>0&&e.has("WEBGL_multisampled_render_to_texture")===!0&&b.__useRenderToTexture!==!1}function Nt(R){let b=o.render.frame;u.get(R)!==b&&(u.set(R,b),R.update())}function ze(R,b){let q=R.colorSpace,he=R.format,oe=R.type;return R.isCompressedTexture===!0||R.isVideoTexture===!0||q!==la&&q!==As&&(xt.getTransfer(q)===At?(he!==Oi||oe!==jn)&&Ye("WebGLTextures: sRGB encoded textures have to use RGBAFormat and UnsignedByteType."):et("WebGLTextures: Unsupported texture color space:",q)),b}function qe(R){return typeof HTMLImageElement<"u"&&R instanceof HTMLImageElement?(l.width=R.naturalWidth||R.width,l.height=R.naturalHeight||R.height):typeof VideoFrame<"u"&&R instanceof VideoFrame?(l.width=R.displayWidth,l.height=R.displayHeight):(l.width=R.width,l.height=R.height),l}this.allocateTextureUnit=ue,this.resetTextureUnits=Q,this.getTextureUnits=se,this.setTextureUnits=de,this.setTexture2D=me,this.setTexture2DArray=xe,this.setTexture3D=Te,this.setTextureCube=be,this.rebindTextures=Yt,this.setupRenderTarget=on,this.updateRenderTargetMipmap=B,this.updateMultisampleRenderTarget=$e,this.setupDepthRenderbuffer=fn,this.setupFrameBufferTexture=It,this.useMultisampledRTT=Me,this.dispose=W}function EA(i,e){function t(n,s=As){let r,o=xt.getTransfer(s);if(n===jn)return i.UNSIGNED_BYTE;if(n===eh)return i.UNSIGNED_SHORT_4_4_4_4;if(n===th)return i.UNSIGNED_SHORT_5_5_5_1;if(n===cf)return i.UNSIGNED_INT_5_9_9_9_REV;if(n===hf)return i.UNSIGNED_INT_10F_11F_11F_REV;if(n===af)return i.BYTE;if(n===lf)return i.SHORT;if(n===wo)return i.UNSIGNED_SHORT;if(n===Qc)return i.INT;if(n===Ni)return i.UNSIGNED_INT;if(n===Ui)return i.FLOAT;if(n===Fi)return i.HALF_FLOAT;if(n===uf)return i.ALPHA;if(n===df)return i.RGB;if(n===Oi)return i.RGBA;if(n===ys)return i.DEPTH_COMPONENT;if(n===ws)return i.DEPTH_STENCIL;if(n===ff)return i.RED;if(n===nh)return i.RED_INTEGER;if(n===Ys)return i.RG;if(n===ih)return i.RG_INTEGER;if(n===sh)return i.RGBA_INTEGER;if(n===za||n===Va||n===Ga||n===Ha)if(o===At)if(r=e.get("WEBGL_compressed_texture_s3tc_srgb"),r!==null){if(n===za)return r.COMPRESSED_SRGB_S3TC_DXT1_EXT;if(n===Va)return r.COMPRESSED_SRGB_ALPHA_S3TC_DXT1_EXT;if(n===Ga)return r.COMPRESSED_SRGB_ALPHA_S3TC_DXT3_EXT;if(n===Ha)return r.COMPRESSED_SRGB_ALPHA_S3TC_DXT5_EXT}else return null;else if(r=e.get("WEBGL_compressed_texture_s3tc"),r!==null){if(n===za)return r.COMPRESSED_RGB_S3TC_DXT1_EXT;if(n===Va)return r.COMPRESSED_RGBA_S3TC_DXT1_EXT;if(n===Ga)return r.COMPRESSED_RGBA_S3TC_DXT3_EXT;if(n===Ha)return r.COMPRESSED_RGBA_S3TC_DXT5_EXT}else return null;if(n===rh||n===oh||n===ah||n===lh)if(r=e.get("WEBGL_compressed_texture_pvrtc"),r!==null){if(n===rh)return r.COMPRESSED_RGB_PVRTC_4BPPV1_IMG;if(n===oh)return r.COMPRESSED_RGB_PVRTC_2BPPV1_IMG;if(n===ah)return r.COMPRESSED_RGBA_PVRTC_4BPPV1_IMG;if(n===lh)return r.COMPRESSED_RGBA_PVRTC_2BPPV1_IMG}else return null;if(n===ch||n===hh||n===uh||n===dh||n===fh||n===Wa||n===ph)if(r=e.get("WEBGL_compressed_texture_etc"),r!==null){if(n===ch||n===hh)return o===At?r.COMPRESSED_SRGB8_ETC2:r.COMPRESSED_RGB8_ETC2;if(n===uh)return o===At?r.COMPRESSED_SRGB8_ALPHA8_ETC2_EAC:r.COMPRESSED_RGBA8_ETC2_EAC;if(n===dh)return r.COMPRESSED_R11_EAC;if(n===fh)return r.COMPRESSED_SIGNED_R11_EAC;if(n===Wa)return r.COMPRESSED_RG11_EAC;if(n===ph)return r.COMPRESSED_SIGNED_RG11_EAC}else return null;if(n===mh||n===gh||n===_h||n===xh||n===yh||n===vh||n===Sh||n===bh||n===Mh||n===wh||n===Ah||n===Eh||n===Th||n===Ch)if(r=e.get("WEBGL_compressed_texture_astc"),r!==null){if(n===mh)return o===At?r.COMPRESSED_SRGB8_ALPHA8_ASTC_4x4_KHR:r.COMPRESSED_RGBA_ASTC_4x4_KHR;if(n===gh)return o===At?r.COMPRESSED_SRGB8_ALPHA8_ASTC_5x4_KHR:r.COMPRESSED_RGBA_ASTC_5x4_KHR;if(n===_h)return o===At?r.COMPRESSED_SRGB8_ALPHA8_ASTC_5x5_KHR:r.COMPRESSED_RGBA_ASTC_5x5_KHR;if(n===xh)return o===At?r.COMPRESSED_SRGB8_ALPHA8_ASTC_6x5_KHR:r.COMPRESSED_RGBA_ASTC_6x5_KHR;if(n===yh)return o===At?r.COMPRESSED_SRGB8_ALPHA8_ASTC_6x6_KHR:r.COMPRESSED_RGBA_ASTC_6x6_KHR;if(n===vh)return o===At?r.COMPRESSED_SRGB8_ALPHA8_ASTC_8x5_KHR:r.COMPRESSED_RGBA_ASTC_8x5_KHR;if(n===Sh)return o===At?r.COMPRESSED_SRGB8_ALPHA8_ASTC_8x6_KHR:r.COMPRESSED_RGBA_ASTC_8x6_KHR;if(n===bh)return o===At?r.COMPRESSED_SRGB8_ALPHA8_ASTC_8x8_KHR:r.COMPRESSED_RGBA_ASTC_8x8_KHR;if(n===Mh)return o===At?r.COMPRESSED_SRGB8_ALPHA8_ASTC_10x5_KHR:r.COMPRESSED_RGBA_ASTC_10x5_KHR;if(n===wh)return o===At?r.COMPRESSED_SRGB8_ALPHA8_ASTC_10x6_KHR:r.COMPRESSED_RGBA_ASTC_10x6_KHR;if(n===Ah)return o===At?r.COMPRESSED_SRGB8_ALPHA8_ASTC_10x8_KHR:r.COMPRESSED_RGBA_ASTC_10x8_KHR;if(n===Eh)return o===At?r.COMPRESSED_SRGB8_ALPHA8_ASTC_10x10_KHR:r.COMPRESSED_RGBA_ASTC_10x10_KHR;if(n===Th)return o===At?r.COMPRESSED_SRGB8_ALPHA8_ASTC_12x10_KHR:r.COMPRESSED_RGBA_ASTC_12x10_KHR;if(n===Ch)return o===At?r.COMPRESSED_SRGB8_ALPHA8_ASTC_12x12_KHR:r.COMPRESSED_RGBA_ASTC_12x12_KHR}else return null;if(n===Rh||n===Ph||n===Ih)if(r=e.get("EXT_texture_compression_bptc"),r!==null){if(n===Rh)return o===At?r.COMPRESSED_SRGB_ALPHA_BPTC_UNORM_EXT:r.COMPRESSED_RGBA_BPTC_UNORM_EXT;if(n===Ph)return r.COMPRESSED_RGB_BPTC_SIGNED_FLOAT_EXT;if(n===Ih)return r.COMPRESSED_RGB_BPTC_UNSIGNED_FLOAT_EXT}else return null;if(n===Lh||n===Dh||n===Xa||n===Nh)if(r=e.get("EXT_texture_compression_rgtc"),r!==null){if(n===Lh)return r.COMPRESSED_RED_RGTC1_EXT;if(n===Dh)return r.COMPRESSED_SIGNED_RED_RGTC1_EXT;if(n===Xa)return r.COMPRESSED_RED_GREEN_RGTC2_EXT;if(n===Nh)return r.COMPRESSED_SIGNED_RED_GREEN_RGTC2_EXT}else return null;return n===mr?i.UNSIGNED_INT_24_8:i[n]!==void 0?i[n]:null}return{convert:t}}var TA=`
void main() {

	gl_Position = vec4( position, 1.0 );

}`,CA=`
uniform sampler2DArray depthColor;
uniform float depthWidth;
uniform float depthHeight;

void main() {

	vec2 coord = vec2( gl_FragCoord.x / depthWidth, gl_FragCoord.y / depthHeight );

	if ( coord.x >= 1.0 ) {

		gl_FragDepth = texture( depthColor, vec3( coord.x - 1.0, coord.y, 1 ) ).r;

	} else {

		gl_FragDepth = texture( depthColor, vec3( coord.x, coord.y, 0 ) ).r;

	}

}`,Gf=class{constructor(){this.texture=null,this.mesh=null,this.depthNear=0,this.depthFar=0}init(e,t){if(this.texture===null){let n=new va(e.texture);(e.depthNear!==t.depthNear||e.depthFar!==t.depthFar)&&(this.depthNear=e.depthNear,this.depthFar=e.depthFar),this.texture=n}}getMesh(e){if(this.texture!==null&&this.mesh===null){let t=e.cameras[0].viewport,n=new Zn({vertexShader:TA,fragmentShader:CA,uniforms:{depthColor:{value:this.texture},depthWidth:{value:t.z},depthHeight:{value:t.w}}});this.mesh=new en(new Aa(20,20),n)}return this.mesh}reset(){this.texture=null,this.mesh=null}getDepthTexture(){return this.texture}},Hf=class extends $i{constructor(e,t){super();let n=this,s=null,r=1,o=null,a="local-floor",c=1,l=null,u=null,h=null,d=null,f=null,g=null,y=typeof XRWebGLBinding<"u",m=new Gf,p={},v=t.getContextAttributes(),T=null,S=null,C=[],E=[],x=new He,A=null,F=null,L=new Yn;L.viewport=new Et;let I=new Yn;I.viewport=new Et;let k=[L,I],V=new Yc,N=null,W=null;this.cameraAutoUpdate=!0,this.enabled=!1,this.isPresenting=!1,this.getController=function(ee){let me=C[ee];return me===void 0&&(me=new go,C[ee]=me),me.getTargetRaySpace()},this.getControllerGrip=function(ee){let me=C[ee];return me===void 0&&(me=new go,C[ee]=me),me.getGripSpace()},this.getHand=function(ee){let me=C[ee];return me===void 0&&(me=new go,C[ee]=me),me.getHandSpace()};function $(ee){let me=E.indexOf(ee.inputSource);if(me===-1)return;let xe=C[me];xe!==void 0&&(xe.update(ee.inputSource,ee.frame,l||o),xe.dispatchEvent({type:ee.type,data:ee.inputSource}))}function H(){s.removeEventListener("select",$),s.removeEventListener("selectstart",$),s.removeEventListener("selectend",$),s.removeEventListener("squeeze",$),s.removeEventListener("squeezestart",$),s.removeEventListener("squeezeend",$),s.removeEventListener("end",H),s.removeEventListener("inputsourceschange",ce);for(let ee=0;ee<C.length;ee++){let me=E[ee];me!==null&&(E[ee]=null,C[ee].disconnect(me))}N=null,W=null,m.reset();for(let ee in p)delete p[ee];if(e.setRenderTarget(T),f=null,d=null,h=null,s=null,S=null,ue.stop(),n.isPresenting=!1,e.setPixelRatio(A),e.setSize(x.width,x.height,!1),F!==null){let ee=F.camera;ee.fov=F.fov,ee.zoom=F.zoom,ee.updateProjectionMatrix(),F=null}n.dispatchEvent({type:"sessionend"})}this.setFramebufferScaleFactor=function(ee){r=ee,n.isPresenting===!0&&Ye("WebXRManager: Cannot change framebuffer scale while presenting.")},this.setReferenceSpaceType=function(ee){a=ee,n.isPresenting===!0&&Ye("WebXRManager: Cannot change reference space type while presenting.")},this.getReferenceSpace=function(){return l||o},this.setReferenceSpace=function(ee){l=ee},this.getBaseLayer=function(){return d!==null?d:f},this.getBinding=function(){return h===null&&y&&(h=new XRWebGLBinding(s,t)),h},this.getFrame=function(){return g},this.getSession=function(){return s},this.setSession=async function(ee){if(s=ee,s!==null){if(T=e.getRenderTarget(),s.addEventListener("select",$),s.addEventListener("selectstart",$),s.addEventListener("selectend",$),s.addEventListener("squeeze",$),s.addEventListener("squeezestart",$),s.addEventListener("squeezeend",$),s.addEventListener("end",H),s.addEventListener("inputsourceschange",ce),v.xrCompatible!==!0&&await t.makeXRCompatible(),A=e.getPixelRatio(),e.getSize(x),y&&"createProjectionLayer"in XRWebGLBinding.prototype){let xe=null,Te=null,be=null;v.depth&&(be=v.stencil?t.DEPTH24_STENCIL8:t.DEPTH_COMPONENT24,xe=v.stencil?ws:ys,Te=v.stencil?mr:Ni);let We={colorFormat:t.RGBA8,depthFormat:be,scaleFactor:r};h=this.getBinding(),d=h.createProjectionLayer(We),s.updateRenderState({layers:[d]}),e.setPixelRatio(1),e.setSize(d.textureWidth,d.textureHeight,!1),S=new di(d.textureWidth,d.textureHeight,{format:Oi,type:jn,depthTexture:new bs(d.textureWidth,d.textureHeight,Te,void 0,void 0,void 0,void 0,void 0,void 0,xe),stencilBuffer:v.stencil,colorSpace:e.outputColorSpace,samples:v.antialias?4:0,resolveDepthBuffer:d.ignoreDepthValues===!1,resolveStencilBuffer:d.ignoreDepthValues===!1,storeMultisampledDepthBuffer:d.ignoreDepthValues===!1,storeMultisampledStencilBuffer:d.ignoreDepthValues===!1})}else{let xe={antialias:v.antialias,alpha:!0,depth:v.depth,stencil:v.stencil,framebufferScaleFactor:r};f=new XRWebGLLayer(s,t,xe),s.updateRenderState({baseLayer:f}),e.setPixelRatio(1),e.setSize(f.framebufferWidth,f.framebufferHeight,!1),S=new di(f.framebufferWidth,f.framebufferHeight,{format:Oi,type:jn,colorSpace:e.outputColorSpace,stencilBuffer:v.stencil,resolveDepthBuffer:f.ignoreDepthValues===!1,resolveStencilBuffer:f.ignoreDepthValues===!1,storeMultisampledDepthBuffer:f.ignoreDepthValues===!1,storeMultisampledStencilBuffer:f.ignoreDepthValues===!1})}S.isXRRenderTarget=!0,this.setFoveation(c),l=null,o=await s.requestReferenceSpace(a),ue.setContext(s),ue.start(),n.isPresenting=!0,n.dispatchEvent({type:"sessionstart"})}},this.getEnvironmentBlendMode=function(){if(s!==null)return s.environmentBlendMode},this.getDepthTexture=function(){return m.getDepthTexture()};function ce(ee){for(let me=0;me<ee.removed.length;me++){let xe=ee.removed[me],Te=E.indexOf(xe);Te>=0&&(E[Te]=null,C[Te].disconnect(xe))}for(let me=0;me<ee.added.length;me++){let xe=ee.added[me],Te=E.indexOf(xe);if(Te===-1){for(let We=0;We<C.length;We++)if(We>=E.length){E.push(xe),Te=We;break}else if(E[We]===null){E[We]=xe,Te=We;break}if(Te===-1)break}let be=C[Te];be&&be.connect(xe)}}function K(ee,me){me===null?ee.matrixWorld.copy(ee.matrix):ee.matrixWorld.multiplyMatrices(me.matrixWorld,ee.matrix),ee.matrixWorldInverse.copy(ee.matrixWorld).invert()}this.updateCamera=function(ee){if(s===null)return;let me=ee.near,xe=ee.far;m.texture!==null&&(m.depthNear>0&&(me=m.depthNear),m.depthFar>0&&(xe=m.depthFar)),V.near=I.near=L.near=me,V.far=I.far=L.far=xe,(N!==V.near||W!==V.far)&&(s.updateRenderState({depthNear:V.near,depthFar:V.far}),N=V.near,W=V.far),V.layers.mask=ee.layers.mask|6,L.layers.mask=V.layers.mask&-5,I.layers.mask=V.layers.mask&-3;let Te=ee.parent,be=V.cameras;K(V,Te);for(let We=0;We<be.length;We++)K(be[We],Te);V.projectionMatrix.copy(L.projectionMatrix),V.projectionMatrixInverse.copy(L.projectionMatrixInverse),F===null&&ee.isPerspectiveCamera&&(F={camera:ee,fov:ee.fov,zoom:ee.zoom}),Q(ee,V,Te)};function Q(ee,me,xe){xe===null?ee.matrix.copy(me.matrixWorld):(ee.matrix.copy(xe.matrixWorld),ee.matrix.invert(),ee.matrix.multiply(me.matrixWorld)),ee.matrix.decompose(ee.position,ee.quaternion,ee.scale),ee.updateMatrixWorld(!0),ee.projectionMatrix.copy(me.projectionMatrix),ee.projectionMatrixInverse.copy(me.projectionMatrixInverse),ee.isPerspectiveCamera&&(ee.fov=po*2*Math.atan(1/ee.projectionMatrix.elements[5]),ee.zoom=1)}this.getCamera=function(){return V},this.getFoveation=function(){if(!(d===null&&f===null))return c},this.setFoveation=function(ee){c=ee,d!==null&&(d.fixedFoveation=ee),f!==null&&f.fixedFoveation!==void 0&&(f.fixedFoveation=ee)},this.hasDepthSensing=function(){return m.texture!==null},this.getDepthSensingMesh=function(){return m.getMesh(V)},this.getCameraTexture=function(ee){return p[ee]};let se=null;function de(ee,me){if(u=me.getViewerPose(l||o),g=me,u!==null){let xe=u.views;f!==null&&(e.setRenderTargetFramebuffer(S,f.framebuffer),e.setRenderTarget(S));let Te=!1;xe.length!==V.cameras.length&&(V.cameras.length=0,Te=!0);for(let Ve=0;Ve<xe.length;Ve++){let ut=xe[Ve],lt=null;if(f!==null)lt=f.getViewport(ut);else{let Wt=h.getViewSubImage(d,ut);lt=Wt.viewport,Ve===0&&(e.setRenderTargetTextures(S,Wt.colorTexture,Wt.depthStencilTexture),e.setRenderTarget(S))}let nt=k[Ve];nt===void 0&&(nt=new Yn,nt.layers.enable(Ve),nt.viewport=new Et,k[Ve]=nt),nt.matrix.fromArray(ut.transform.matrix),nt.matrix.decompose(nt.position,nt.quaternion,nt.scale),nt.projectionMatrix.fromArray(ut.projectionMatrix),nt.projectionMatrixInverse.copy(nt.projectionMatrix).invert(),nt.viewport.set(lt.x,lt.y,lt.width,lt.height),Ve===0&&(V.matrix.copy(nt.matrix),V.matrix.decompose(V.position,V.quaternion,V.scale)),Te===!0&&V.cameras.push(nt)}let be=s.enabledFeatures;if(be&&be.includes("depth-sensing")&&s.depthUsage=="gpu-optimized"&&y){h=n.getBinding();let Ve=h.getDepthInformation(xe[0]);Ve&&Ve.isValid&&Ve.texture&&m.init(Ve,s.renderState)}if(be&&be.includes("camera-access")&&y){e.state.unbindTexture(),h=n.getBinding();for(let Ve=0;Ve<xe.length;Ve++){let ut=xe[Ve].camera;if(ut){let lt=p[ut];lt||(lt=new va,p[ut]=lt);let nt=h.getCameraImage(ut);lt.sourceTexture=nt}}}}for(let xe=0;xe<C.length;xe++){let Te=E[xe],be=C[xe];Te!==null&&be!==void 0&&be.update(Te,me,l||o)}se&&se(ee,me),me.detectedPlanes&&n.dispatchEvent({type:"planesdetected",data:me}),g=null}let ue=new T_;ue.setAnimationLoop(de),this.setAnimationLoop=function(ee){se=ee},this.dispose=function(){}}},RA=new Dt,O_=new tt;O_.set(-1,0,0,0,1,0,0,0,1);function PA(i,e){function t(m,p){m.matrixAutoUpdate===!0&&m.updateMatrix(),p.value.copy(m.matrix)}function n(m,p){p.color.getRGB(m.fogColor.value,Af(i)),p.isFog?(m.fogNear.value=p.near,m.fogFar.value=p.far):p.isFogExp2&&(m.fogDensity.value=p.density)}function s(m,p,v,T,S){p.isNodeMaterial?p.uniformsNeedUpdate=!1:p.isMeshBasicMaterial?r(m,p):p.isMeshLambertMaterial?(r(m,p),p.envMap&&(m.envMapIntensity.value=p.envMapIntensity)):p.isMeshToonMaterial?(r(m,p),h(m,p)):p.isMeshPhongMaterial?(r(m,p),u(m,p),p.envMap&&(m.envMapIntensity.value=p.envMapIntensity)):p.isMeshStandardMaterial?(r(m,p),d(m,p),p.isMeshPhysicalMaterial&&f(m,p,S)):p.isMeshMatcapMaterial?(r(m,p),g(m,p)):p.isMeshDepthMaterial?r(m,p):p.isMeshDistanceMaterial?(r(m,p),y(m,p)):p.isMeshNormalMaterial?r(m,p):p.isLineBasicMaterial?(o(m,p),p.isLineDashedMaterial&&a(m,p)):p.isPointsMaterial?c(m,p,v,T):p.isSpriteMaterial?l(m,p):p.isShadowMaterial?(m.color.value.copy(p.color),m.opacity.value=p.opacity):p.isShaderMaterial&&(p.uniformsNeedUpdate=!1)}function r(m,p){m.opacity.value=p.opacity,p.color&&m.diffuse.value.copy(p.color),p.emissive&&m.emissive.value.copy(p.emissive).multiplyScalar(p.emissiveIntensity),p.map&&(m.map.value=p.map,t(p.map,m.mapTransform)),p.alphaMap&&(m.alphaMap.value=p.alphaMap,t(p.alphaMap,m.alphaMapTransform)),p.bumpMap&&(m.bumpMap.value=p.bumpMap,t(p.bumpMap,m.bumpMapTransform),m.bumpScale.value=p.bumpScale,p.side===Cn&&(m.bumpScale.value*=-1)),p.normalMap&&(m.normalMap.value=p.normalMap,t(p.normalMap,m.normalMapTransform),m.normalScale.value.copy(p.normalScale),p.side===Cn&&m.normalScale.value.negate()),p.displacementMap&&(m.displacementMap.value=p.displacementMap,t(p.displacementMap,m.displacementMapTransform),m.displacementScale.value=p.displacementScale,m.displacementBias.value=p.displacementBias),p.emissiveMap&&(m.emissiveMap.value=p.emissiveMap,t(p.emissiveMap,m.emissiveMapTransform)),p.specularMap&&(m.specularMap.value=p.specularMap,t(p.specularMap,m.specularMapTransform)),p.alphaTest>0&&(m.alphaTest.value=p.alphaTest);let v=e.get(p),T=v.envMap,S=v.envMapRotation;T&&(m.envMap.value=T,m.envMapRotation.value.setFromMatrix4(RA.makeRotationFromEuler(S)).transpose(),T.isCubeTexture&&T.isRenderTargetTexture===!1&&m.envMapRotation.value.premultiply(O_),m.reflectivity.value=p.reflectivity,m.ior.value=p.ior,m.refractionRatio.value=p.refractionRatio),p.lightMap&&(m.lightMap.value=p.lightMap,m.lightMapIntensity.value=p.lightMapIntensity,t(p.lightMap,m.lightMapTransform)),p.aoMap&&(m.aoMap.value=p.aoMap,m.aoMapIntensity.value=p.aoMapIntensity,t(p.aoMap,m.aoMapTransform))}function o(m,p){m.diffuse.value.copy(p.color),m.opacity.value=p.opacity,p.map&&(m.map.value=p.map,t(p.map,m.mapTransform))}function a(m,p){m.dashSize.value=p.dashSize,m.totalSize.value=p.dashSize+p.gapSize,m.scale.value=p.scale}function c(m,p,v,T){m.diffuse.value.copy(p.color),m.opacity.value=p.opacity,m.size.value=p.size*v,m.scale.value=T*.5,p.map&&(m.map.value=p.map,t(p.map,m.uvTransform)),p.alphaMap&&(m.alphaMap.value=p.alphaMap,t(p.alphaMap,m.alphaMapTransform)),p.alphaTest>0&&(m.alphaTest.value=p.alphaTest)}function l(m,p){m.diffuse.value.copy(p.color),m.opacity.value=p.opacity,m.rotation.value=p.rotation,p.map&&(m.map.value=p.map,t(p.map,m.mapTransform)),p.alphaMap&&(m.alphaMap.value=p.alphaMap,t(p.alphaMap,m.alphaMapTransform)),p.alphaTest>0&&(m.alphaTest.value=p.alphaTest)}function u(m,p){m.specular.value.copy(p.specular),m.shininess.value=Math.max(p.shininess,1e-4)}function h(m,p){p.gradientMap&&(m.gradientMap.value=p.gradientMap)}function d(m,p){m.metalness.value=p.metalness,p.metalnessMap&&(m.metalnessMap.value=p.metalnessMap,t(p.metalnessMap,m.metalnessMapTransform)),m.roughness.value=p.roughness,p.roughnessMap&&(m.roughnessMap.value=p.roughnessMap,t(p.roughnessMap,m.roughnessMapTransform)),p.envMap&&(m.envMapIntensity.value=p.envMapIntensity)}function f(m,p,v){m.ior.value=p.ior,p.diffuseRoughness>0&&(m.diffuseRoughness.value=p.diffuseRoughness,p.diffuseRoughnessMap&&(m.diffuseRoughnessMap.value=p.diffuseRoughnessMap,t(p.diffuseRoughnessMap,m.diffuseRoughnessMapTransform))),p.sheen>0&&(m.sheenColor.value.copy(p.sheenColor).multiplyScalar(p.sheen),m.sheenRoughness.value=p.sheenRoughness,p.sheenColorMap&&(m.sheenColorMap.value=p.sheenColorMap,t(p.sheenColorMap,m.sheenColorMapTransform)),p.sheenRoughnessMap&&(m.sheenRoughnessMap.value=p.sheenRoughnessMap,t(p.sheenRoughnessMap,m.sheenRoughnessMapTransform))),p.clearcoat>0&&(m.clearcoat.value=p.clearcoat,m.clearcoatRoughness.value=p.clearcoatRoughness,p.clearcoatMap&&(m.clearcoatMap.value=p.clearcoatMap,t(p.clearcoatMap,m.clearcoatMapTransform)),p.clearcoatRoughnessMap&&(m.clearcoatRoughnessMap.value=p.clearcoatRoughnessMap,t(p.clearcoatRoughnessMap,m.clearcoatRoughnessMapTransform)),p.clearcoatNormalMap&&(m.clearcoatNormalMap.value=p.clearcoatNormalMap,t(p.clearcoatNormalMap,m.clearcoatNormalMapTransform),m.clearcoatNormalScale.value.copy(p.clearcoatNormalScale),p.side===Cn&&m.clearcoatNormalScale.value.negate())),p.dispersion>0&&(m.dispersion.value=p.dispersion),p.retroreflectivity>0&&(m.retroreflectivity.value=p.retroreflectivity),p.iridescence>0&&(m.iridescence.value=p.iridescence,m.iridescenceIOR.value=p.iridescenceIOR,m.iridescenceThicknessMinimum.value=p.iridescenceThicknessMinimum,m.iridescenceThicknessMaximum.value=p.iridescenceThicknessMaximum,p.iridescenceMap&&(m.iridescenceMap.value=p.iridescenceMap,t(p.iridescenceMap,m.iridescenceMapTransform)),p.iridescenceThicknessMap&&(m.iridescenceThicknessMap.value=p.iridescenceThicknessMap,t(p.iridescenceThicknessMap,m.iridescenceThicknessMapTransform))),p.transmission>0&&(m.transmission.value=p.transmission,m.transmissionSamplerMap.value=v.texture,m.transmissionSamplerSize.value.set(v.width,v.height),p.transmissionMap&&(m.transmissionMap.value=p.transmissionMap,t(p.transmissionMap,m.transmissionMapTransform)),m.thickness.value=p.thickness,p.thicknessMap&&(m.thicknessMap.value=p.thicknessMap,t(p.thicknessMap,m.thicknessMapTransform)),m.attenuationDistance.value=p.attenuationDistance,m.attenuationColor.value.copy(p.attenuationColor)),p.anisotropy>0&&(m.anisotropyVector.value.set(p.anisotropy*Math.cos(p.anisotropyRotation),p.anisotropy*Math.sin(p.anisotropyRotation)),p.anisotropyMap&&(m.anisotropyMap.value=p.anisotropyMap,t(p.anisotropyMap,m.anisotropyMapTransform))),m.specularIntensity.value=p.specularIntensity,m.specularColor.value.copy(p.specularColor),p.specularColorMap&&(m.specularColorMap.value=p.specularColorMap,t(p.specularColorMap,m.specularColorMapTransform)),p.specularIntensityMap&&(m.specularIntensityMap.value=p.specularIntensityMap,t(p.specularIntensityMap,m.specularIntensityMapTransform))}function g(m,p){p.matcap&&(m.matcap.value=p.matcap)}function y(m,p){let v=e.get(p).light;m.referencePosition.value.setFromMatrixPosition(v.matrixWorld),m.nearDistance.value=v.shadow.camera.near,m.farDistance.value=v.shadow.camera.far}return{refreshFogUniforms:n,refreshMaterialUniforms:s}}function IA(i,e,t,n){let s={},r={};function o(v,T){let S=T.program;n.uniformBlockBinding(v,S,s[v.id])}function a(v,T){let S=s[v.id];S===void 0&&(g(v),S=c(v),s[v.id]=S,v.addEventListener("dispose",m));let C=T.program;n.updateUBOMapping(v,C);let E=e.render.frame;r[v.id]!==E&&(l(v),r[v.id]=E)}function c(v){let T=i.createBuffer(),S=v.__size,C=v.usage;return i.bindBuffer(i.UNIFORM_BUFFER,T),i.bufferData(i.UNIFORM_BUFFER,S,C),i.bindBuffer(i.UNIFORM_BUFFER,null),T}function l(v){let T=s[v.id],S=v.uniforms,C=v.__cache;i.bindBuffer(i.UNIFORM_BUFFER,T);for(let E=0,x=S.length;E<x;E++){let A=S[E];if(Array.isArray(A))for(let F=0,L=A.length;F<L;F++)u(A[F],E,F,C);else u(A,E,0,C)}i.bindBuffer(i.UNIFORM_BUFFER,null)}function u(v,T,S,C){if(d(v,T,S,C)===!0){let E=v.__offset,x=v.value;if(Array.isArray(x)){let A=0;for(let F=0;F<x.length;F++){let L=x[F],I=y(L,!0);h(L,v.__data,A),A+=I.storage/Float32Array.BYTES_PER_ELEMENT}}else h(x,v.__data,0);i.bufferSubData(i.UNIFORM_BUFFER,E,v.__data)}}function h(v,T,S){typeof v=="number"||typeof v=="boolean"?T[S]=v:v.isMatrix3?(T[S]=v.elements[0],T[S+1]=v.elements[1],T[S+2]=v.elements[2],T[S+3]=0,T[S+4]=v.elements[3],T[S+5]=v.elements[4],T[S+6]=v.elements[5],T[S+7]=0,T[S+8]=v.elements[6],T[S+9]=v.elements[7],T[S+10]=v.elements[8],T[S+11]=0):ArrayBuffer.isView(v)?T.set(v.subarray(0,T.length-S),S):v.toArray(T,S)}function d(v,T,S,C){let E=v.value,x=T+"_"+S;if(Array.isArray(E)){C[x]===void 0&&(C[x]=[]);let A=C[x],F=!1;for(let L=0;L<E.length;L++)f(E[L],A,L)===!0&&(F=!0);return F}return f(E,C,x)}function f(v,T,S){if(T[S]===void 0)return typeof v=="number"||typeof v=="boolean"?T[S]=v:ArrayBuffer.isView(v)?T[S]=v.slice():T[S]=v.clone(),!0;{let C=T[S];if(typeof v=="number"||typeof v=="boolean"){if(C!==v)return T[S]=v,!0}else{if(ArrayBuffer.isView(v))return!0;if(C.equals(v)===!1)return C.copy(v),!0}}return!1}function g(v){let T=v.uniforms,S=0,C=16;for(let x=0,A=T.length;x<A;x++){let F=Array.isArray(T[x])?T[x]:[T[x]];for(let L=0,I=F.length;L<I;L++){let k=F[L],V=Array.isArray(k.value)?k.value:[k.value],N=Array.isArray(T[x])||Array.isArray(k.value),W=S;for(let H=0,ce=V.length;H<ce;H++){let K=V[H],Q=y(K,N),se=S%C,de=se%Q.boundary,ue=se+de;S+=de,ue!==0&&C-ue<Q.storage&&(S+=C-ue),H===0&&(W=S),S+=Q.storage}let $=k.type==="int"?Int32Array:k.type==="uint"?Uint32Array:Float32Array;k.__data=new $((S-W)/Float32Array.BYTES_PER_ELEMENT),k.__offset=W}}let E=S%C;return E>0&&(S+=C-E),v.__size=S,v.__cache={},this}function y(v,T){let S={boundary:0,storage:0};return typeof v=="number"||typeof v=="boolean"?(S.boundary=4,S.storage=4):v.isVector2?(S.boundary=8,S.storage=8):v.isVector3||v.isColor?(S.boundary=16,S.storage=12):v.isVector4?(S.boundary=16,S.storage=16):v.isMatrix3?(S.boundary=16,S.storage=48):v.isMatrix4?(S.boundary=16,S.storage=64):v.isTexture?Ye("WebGLRenderer: Texture samplers can not be part of an uniforms group."):ArrayBuffer.isView(v)?(S.boundary=16,S.storage=v.byteLength):Ye("WebGLRenderer: Unsupported uniform value type.",v),T===!0&&(S.boundary=16,S.storage=Math.ceil(S.storage/16)*16),S}function m(v){let T=v.target;T.removeEventListener("dispose",m),i.deleteBuffer(s[T.id]),delete s[T.id],delete r[T.id]}function p(){for(let v in s)i.deleteBuffer(s[v]);s={},r={}}return{bind:o,update:a,dispose:p}}var LA=new Uint16Array([12469,15057,12620,14925,13266,14620,13807,14376,14323,13990,14545,13625,14713,13328,14840,12882,14931,12528,14996,12233,15039,11829,15066,11525,15080,11295,15085,10976,15082,10705,15073,10495,13880,14564,13898,14542,13977,14430,14158,14124,14393,13732,14556,13410,14702,12996,14814,12596,14891,12291,14937,11834,14957,11489,14958,11194,14943,10803,14921,10506,14893,10278,14858,9960,14484,14039,14487,14025,14499,13941,14524,13740,14574,13468,14654,13106,14743,12678,14818,12344,14867,11893,14889,11509,14893,11180,14881,10751,14852,10428,14812,10128,14765,9754,14712,9466,14764,13480,14764,13475,14766,13440,14766,13347,14769,13070,14786,12713,14816,12387,14844,11957,14860,11549,14868,11215,14855,10751,14825,10403,14782,10044,14729,9651,14666,9352,14599,9029,14967,12835,14966,12831,14963,12804,14954,12723,14936,12564,14917,12347,14900,11958,14886,11569,14878,11247,14859,10765,14828,10401,14784,10011,14727,9600,14660,9289,14586,8893,14508,8533,15111,12234,15110,12234,15104,12216,15092,12156,15067,12010,15028,11776,14981,11500,14942,11205,14902,10752,14861,10393,14812,9991,14752,9570,14682,9252,14603,8808,14519,8445,14431,8145,15209,11449,15208,11451,15202,11451,15190,11438,15163,11384,15117,11274,15055,10979,14994,10648,14932,10343,14871,9936,14803,9532,14729,9218,14645,8742,14556,8381,14461,8020,14365,7603,15273,10603,15272,10607,15267,10619,15256,10631,15231,10614,15182,10535,15118,10389,15042,10167,14963,9787,14883,9447,14800,9115,14710,8665,14615,8318,14514,7911,14411,7507,14279,7198,15314,9675,15313,9683,15309,9712,15298,9759,15277,9797,15229,9773,15166,9668,15084,9487,14995,9274,14898,8910,14800,8539,14697,8234,14590,7790,14479,7409,14367,7067,14178,6621,15337,8619,15337,8631,15333,8677,15325,8769,15305,8871,15264,8940,15202,8909,15119,8775,15022,8565,14916,8328,14804,8009,14688,7614,14569,7287,14448,6888,14321,6483,14088,6171,15350,7402,15350,7419,15347,7480,15340,7613,15322,7804,15287,7973,15229,8057,15148,8012,15046,7846,14933,7611,14810,7357,14682,7069,14552,6656,14421,6316,14251,5948,14007,5528,15356,5942,15356,5977,15353,6119,15348,6294,15332,6551,15302,6824,15249,7044,15171,7122,15070,7050,14949,6861,14818,6611,14679,6349,14538,6067,14398,5651,14189,5311,13935,4958,15359,4123,15359,4153,15356,4296,15353,4646,15338,5160,15311,5508,15263,5829,15188,6042,15088,6094,14966,6001,14826,5796,14678,5543,14527,5287,14377,4985,14133,4586,13869,4257,15360,1563,15360,1642,15358,2076,15354,2636,15341,3350,15317,4019,15273,4429,15203,4732,15105,4911,14981,4932,14836,4818,14679,4621,14517,4386,14359,4156,14083,3795,13808,3437,15360,122,15360,137,15358,285,15355,636,15344,1274,15322,2177,15281,2765,15215,3223,15120,3451,14995,3569,14846,3567,14681,3466,14511,3305,14344,3121,14037,2800,13753,2467,15360,0,15360,1,15359,21,15355,89,15346,253,15325,479,15287,796,15225,1148,15133,1492,15008,1749,14856,1882,14685,1886,14506,1783,14324,1608,13996,1398,13702,1183]),ji=null;function DA(){return ji===null&&(ji=new Sc(LA,16,16,Ys,Fi),ji.name="DFG_LUT",ji.minFilter=$n,ji.magFilter=$n,ji.wrapS=Yi,ji.wrapT=Yi,ji.generateMipmaps=!1,ji.needsUpdate=!0),ji}var zh=class{constructor(e={}){let{canvas:t=Q0(),context:n=null,depth:s=!0,stencil:r=!1,alpha:o=!1,antialias:a=!1,premultipliedAlpha:c=!0,preserveDrawingBuffer:l=!1,powerPreference:u="default",failIfMajorPerformanceCaveat:h=!1,reversedDepthBuffer:d=!1,outputBufferType:f=jn}=e;this.isWebGLRenderer=!0;let g;if(n!==null){if(typeof WebGLRenderingContext<"u"&&n instanceof WebGLRenderingContext)throw new Error("THREE.WebGLRenderer: WebGL 1 is not supported since r163.");g=n.getContextAttributes().alpha}else g=o;let y=f,m=new Set([sh,ih,nh]),p=new Set([jn,Ni,wo,mr,eh,th]),v=new Uint32Array(4),T=new Int32Array(4),S={textures:[],min:[],max:[],resolution:[]},C=null,E=null,x=[],A=[],F=null;this.domElement=t,this.debug={checkShaderErrors:!0,diagnostics:{keywords:!1},onShaderError:null},this.autoClear=!0,this.autoClearColor=!0,this.autoClearDepth=!0,this.autoClearStencil=!0,this.sortObjects=!0,this.clippingPlanes=[],this.localClippingEnabled=!1,this.toneMapping=Ki,this.toneMappingExposure=1,this.transmissionResolutionScale=1;let L=this,I=!1,k=null,V=null,N=null,W=null;this._outputColorSpace=ci;let $=0,H=0,ce=null,K=-1,Q=null,se=new Et,de=new Et,ue=null,ee=new je(0),me=0,xe=t.width,Te=t.height,be=1,We=null,st=null,Ve=new Et(0,0,xe,Te),ut=new Et(0,0,xe,Te),lt=!1,nt=new zs,Wt=new bc,Ot=!1,rn=!1,It=new Dt,vn=new U,yt=new Et,fn={background:null,fog:null,environment:null,overrideMaterial:null,isScene:!0},Yt=!1;function on(){return ce===null?be:1}let B=n;function Re(w,z){return t.getContext(w,z)}let $e,rt,Me,Nt,ze,qe,R,b,q,he,oe,_e,ye,te,ie,pe,O,re,ne,we,ge,Se,Ge;try{let w={alpha:!0,depth:s,stencil:r,antialias:a,premultipliedAlpha:c,preserveDrawingBuffer:l,powerPreference:u,failIfMajorPerformanceCaveat:h};if("setAttribute"in t&&t.setAttribute("data-engine",`three.js r${"187"}`),t.addEventListener("webglcontextlost",Oe,!1),t.addEventListener("webglcontextrestored",Ke,!1),t.addEventListener("webglcontextcreationerror",Ce,!1),B===null){let z="webgl2";if(B=Re(z,w),B===null)throw Re(z)?new Error("THREE.WebGLRenderer: Error creating WebGL context with your selected attributes."):new Error("THREE.WebGLRenderer: Error creating WebGL context.")}Je()}catch(w){throw t.removeEventListener("webglcontextlost",Oe,!1),t.removeEventListener("webglcontextrestored",Ke,!1),t.removeEventListener("webglcontextcreationerror",Ce,!1),et("WebGLRenderer: "+w.message),w}function Je(){$e=new Ww(B),$e.init(),ge=new EA(B,$e),rt=new Dw(B,$e,e,ge),Me=new wA(B,$e),rt.reversedDepthBuffer&&d&&Me.buffers.depth.setReversed(!0),V=B.createFramebuffer(),N=B.createFramebuffer(),W=B.createFramebuffer(),Nt=new Yw(B),ze=new hA,qe=new AA(B,$e,Me,ze,rt,ge,Nt),R=new Hw(L),b=new ZS(B),Se=new Iw(B,b),q=new Xw(B,b,Nt,Se),he=new Zw(B,q,b,Se,Nt),re=new $w(B,rt,qe),ie=new Nw(ze),oe=new cA(L,R,$e,rt,Se,ie),_e=new PA(L,ze),ye=new dA,te=new xA($e),O=new Pw(L,R,Me,he,g,c),pe=new MA(L,he,rt),Ge=new IA(B,Nt,rt,Me),ne=new Lw(B,$e,Nt),we=new qw(B,$e,Nt),Nt.programs=oe.programs,L.capabilities=rt,L.extensions=$e,L.properties=ze,L.renderLists=ye,L.shadowMap=pe,L.state=Me,L.info=Nt}y!==jn&&(F=new Kw(y,t.width,t.height,a,s,r));let le=new Hf(L,B);this.xr=le,this.getContext=function(){return B},this.getContextAttributes=function(){return B.getContextAttributes()},this.forceContextLoss=function(){let w=$e.get("WEBGL_lose_context");w&&w.loseContext()},this.forceContextRestore=function(){let w=$e.get("WEBGL_lose_context");w&&w.restoreContext()},this.getPixelRatio=function(){return be},this.setPixelRatio=function(w){w!==void 0&&(be=w,this.setSize(xe,Te,!1))},this.getSize=function(w){return w.set(xe,Te)},this.setSize=function(w,z,j=!0){if(le.isPresenting){Ye("WebGLRenderer: Can't change size while VR device is presenting.");return}xe=w,Te=z,t.width=Math.floor(w*be),t.height=Math.floor(z*be),j===!0&&(t.style.width=w+"px",t.style.height=z+"px"),F!==null&&F.setSize(t.width,t.height),this.setViewport(0,0,w,z)},this.getDrawingBufferSize=function(w){return w.set(xe*be,Te*be).floor()},this.setDrawingBufferSize=function(w,z,j){xe=w,Te=z,be=j,t.width=Math.floor(w*j),t.height=Math.floor(z*j),this.setViewport(0,0,w,z)},this.setEffects=function(w){if(y===jn){et("WebGLRenderer: setEffects() requires outputBufferType set to HalfFloatType or FloatType.");return}if(w){for(let z=0;z<w.length;z++)if(w[z].isOutputPass===!0){Ye("WebGLRenderer: OutputPass is not needed in setEffects(). Tone mapping and color space conversion are applied automatically.");break}}F.setEffects(w||[])},this.getCurrentViewport=function(w){return w.copy(se)},this.getViewport=function(w){return w.copy(Ve)},this.setViewport=function(w,z,j,Y){w.isVector4?Ve.set(w.x,w.y,w.z,w.w):Ve.set(w,z,j,Y),Me.viewport(se.copy(Ve).multiplyScalar(on()).round())},this.getScissor=function(w){return w.copy(ut)},this.setScissor=function(w,z,j,Y){w.isVector4?ut.set(w.x,w.y,w.z,w.w):ut.set(w,z,j,Y),Me.scissor(de.copy(ut).multiplyScalar(on()).round())},this.getScissorTest=function(){return lt},this.setScissorTest=function(w){Me.setScissorTest(lt=w)},this.setOpaqueSort=function(w){We=w},this.setTransparentSort=function(w){st=w},this.getClearColor=function(w){return w.copy(O.getClearColor())},this.setClearColor=function(){O.setClearColor(...arguments)},this.getClearAlpha=function(){return O.getClearAlpha()},this.setClearAlpha=function(){O.setClearAlpha(...arguments)},this.clear=function(w=!0,z=!0,j=!0){let Y=0;if(w){let Z=!1;if(ce!==null){let Ae=ce.texture.format;Z=m.has(Ae)}if(Z){let Ae=ce.texture.type,Ie=p.has(Ae),Ee=O.getClearColor(),Le=O.getClearAlpha(),ke=Ee.r,Qe=Ee.g,dt=Ee.b;Ie?(v[0]=ke,v[1]=Qe,v[2]=dt,v[3]=Le,B.clearBufferuiv(B.COLOR,0,v)):(T[0]=ke,T[1]=Qe,T[2]=dt,T[3]=Le,B.clearBufferiv(B.COLOR,0,T))}else Y|=B.COLOR_BUFFER_BIT}z&&(Y|=B.DEPTH_BUFFER_BIT,this.state.buffers.depth.setMask(!0)),j&&(Y|=B.STENCIL_BUFFER_BIT,this.state.buffers.stencil.setMask(4294967295)),Y!==0&&B.clear(Y)},this.clearColor=function(){this.clear(!0,!1,!1)},this.clearDepth=function(){this.clear(!1,!0,!1)},this.clearStencil=function(){this.clear(!1,!1,!0)},this.setNodesHandler=function(w){w.setRenderer(this),k=w},this.dispose=function(){t.removeEventListener("webglcontextlost",Oe,!1),t.removeEventListener("webglcontextrestored",Ke,!1),t.removeEventListener("webglcontextcreationerror",Ce,!1),O.dispose(),ye.dispose(),te.dispose(),qe.dispose(),ze.dispose(),R.dispose(),he.dispose(),q.dispose(),Se.dispose(),Ge.dispose(),oe.dispose(),le.dispose(),le.removeEventListener("sessionstart",Qa),le.removeEventListener("sessionend",Bi),is.stop()};function Oe(w){w.preventDefault(),ua("WebGLRenderer: Context Lost."),I=!0}function Ke(){ua("WebGLRenderer: Context Restored."),I=!1;let w=Nt.autoReset,z=pe.enabled,j=pe.autoUpdate,Y=pe.needsUpdate,Z=pe.type;Je(),Nt.autoReset=w,pe.enabled=z,pe.autoUpdate=j,pe.needsUpdate=Y,pe.type=Z}function Ce(w){et("WebGLRenderer: A WebGL context could not be created. Reason: ",w.statusMessage)}function at(w){let z=w.target;z.removeEventListener("dispose",at),Bt(z)}function Bt(w){zn(w),ze.remove(w)}function zn(w){let z=ze.get(w).programs;z!==void 0&&(z.forEach(function(j){oe.releaseProgram(j)}),w.isShaderMaterial&&oe.releaseShaderCache(w))}this.renderBufferDirect=function(w,z,j,Y,Z,Ae){z===null&&(z=fn);let Ie=Z.isMesh&&Z.matrixWorld.determinantAffine()<0,Ee=No(w,z,j,Y,Z);Me.setMaterial(Y,Ie);let Le=j.index,ke=1;if(Y.wireframe===!0){if(Le=q.getWireframeAttribute(j),Le===void 0)return;ke=2}let Qe=j.drawRange,dt=j.attributes.position,Be=Qe.start*ke,ft=(Qe.start+Qe.count)*ke;Ae!==null&&(Be=Math.max(Be,Ae.start*ke),ft=Math.min(ft,(Ae.start+Ae.count)*ke)),Le!==null?(Be=Math.max(Be,0),ft=Math.min(ft,Le.count)):dt!=null&&(Be=Math.max(Be,0),ft=Math.min(ft,dt.count));let qt=ft-Be;if(qt<0||qt===1/0)return;Se.setup(Z,Y,Ee,j,Le);let Tt,Ct=ne;if(Le!==null&&(Tt=b.get(Le),Ct=we,Ct.setIndex(Tt)),Z.isMesh)Y.wireframe===!0?(Me.setLineWidth(Y.wireframeLinewidth*on()),Ct.setMode(B.LINES)):Ct.setMode(B.TRIANGLES);else if(Z.isLine){let pn=Y.linewidth;pn===void 0&&(pn=1),Me.setLineWidth(pn*on()),Z.isLineSegments?Ct.setMode(B.LINES):Z.isLineLoop?Ct.setMode(B.LINE_LOOP):Ct.setMode(B.LINE_STRIP)}else Z.isPoints?Ct.setMode(B.POINTS):Z.isSprite&&Ct.setMode(B.TRIANGLES);if(Z.isBatchedMesh)if($e.get("WEBGL_multi_draw"))Ct.renderMultiDraw(Z._multiDrawStarts,Z._multiDrawCounts,Z._multiDrawCount);else{let pn=Z._multiDrawStarts,Ue=Z._multiDrawCounts,an=Z._multiDrawCount,gt=Le?b.get(Le).bytesPerElement:1,rs=ze.get(Y).currentProgram.getUniforms();for(let ln=0;ln<an;ln++)rs.setValue(B,"_gl_DrawID",ln),Ct.render(pn[ln]/gt,Ue[ln])}else if(Z.isInstancedMesh)Ct.renderInstances(Be,qt,Z.count);else if(j.isInstancedBufferGeometry){let pn=j._maxInstanceCount!==void 0?j._maxInstanceCount:1/0,Ue=Math.min(j.instanceCount,pn);Ct.renderInstances(Be,qt,Ue)}else Ct.render(Be,qt)};function Io(w,z,j,Y){k!==null&&w.isNodeMaterial&&k.setObject(Y,w),Ot===!0&&ie.setState(w,j,!1),w.transparent===!0&&w.side===Ji&&w.forceSinglePass===!1?(w.side=Cn,w.needsUpdate=!0,ki(w,z,Y),w.side=qs,w.needsUpdate=!0,ki(w,z,Y),w.side=Ji):ki(w,z,Y)}this.compile=function(w,z,j=null){j===null&&(j=w),k!==null&&k.renderStart(w,z,j),E=te.get(j),E.init(z),A.push(E),j.traverseVisible(function(Z){Z.isLight&&Z.layers.test(z.layers)&&(E.pushLight(Z),Z.castShadow&&E.pushShadow(Z))}),w!==j&&w.traverseVisible(function(Z){Z.isLight&&Z.layers.test(z.layers)&&(E.pushLight(Z),Z.castShadow&&E.pushShadow(Z))}),E.setupLights(),k!==null&&k.updateLights(E.state.lightsArray),rn=this.localClippingEnabled,Ot=ie.init(this.clippingPlanes,rn),Ot===!0&&ie.setGlobalState(this.clippingPlanes,z),k!==null&&pe.render(E.state.shadowsArray,j,z);let Y=new Set;return w.traverse(function(Z){if(!(Z.isMesh||Z.isPoints||Z.isLine||Z.isSprite))return;let Ae=Z.material;if(Ae)if(Array.isArray(Ae))for(let Ie=0;Ie<Ae.length;Ie++){let Ee=Ae[Ie];Io(Ee,j,z,Z),Y.add(Ee)}else Io(Ae,j,z,Z),Y.add(Ae)}),E=A.pop(),k!==null&&k.renderEnd(),Y},this.compileAsync=function(w,z,j=null){let Y=this.compile(w,z,j);return new Promise(Z=>{function Ae(){if(Y.forEach(function(Ie){let Le=ze.get(Ie).currentProgram;(Le===void 0||Le.isReady())&&Y.delete(Ie)}),Y.size===0){Z(w);return}setTimeout(Ae,10)}$e.get("KHR_parallel_shader_compile")!==null?Ae():setTimeout(Ae,10)})};let yr=null;function hu(w){yr&&yr(w)}function Qa(){is.stop()}function Bi(){is.start()}let is=new T_;is.setAnimationLoop(hu),typeof self<"u"&&is.setContext(self),this.setAnimationLoop=function(w){yr=w,le.setAnimationLoop(w),w===null?is.stop():is.start()},le.addEventListener("sessionstart",Qa),le.addEventListener("sessionend",Bi),this.render=function(w,z){if(z!==void 0&&z.isCamera!==!0){et("WebGLRenderer.render: camera is not an instance of THREE.Camera.");return}if(I===!0)return;k!==null&&k.renderStart(w,z);let j=le.enabled===!0&&le.isPresenting===!0,Y=F!==null&&(ce===null||j)&&F.begin(L,ce);if(w.matrixWorldAutoUpdate===!0&&w.updateMatrixWorld(),z.parent===null&&z.matrixWorldAutoUpdate===!0&&z.updateMatrixWorld(),le.enabled===!0&&le.isPresenting===!0&&(F===null||F.isCompositing()===!1)&&(le.cameraAutoUpdate===!0&&le.updateCamera(z),z=le.getCamera()),w.isScene===!0&&w.onBeforeRender(L,w,z,ce),E=te.get(w,A.length),E.init(z),E.state.textureUnits=qe.getTextureUnits(),A.push(E),It.multiplyMatrices(z.projectionMatrix,z.matrixWorldInverse),z.isArrayCamera?Wt.setFromArrayCamera(z):nt.setFromProjectionMatrix(It,yi,z.reversedDepth),rn=this.localClippingEnabled,Ot=ie.init(this.clippingPlanes,rn),C=ye.get(w,x.length),C.init(),x.push(C),this.info.render.frame++,le.enabled===!0&&le.isPresenting===!0){let Ie=L.xr.getDepthSensingMesh();Ie!==null&&ss(Ie,z,-1/0,L.sortObjects)}ss(w,z,0,L.sortObjects),C.finish(),k!==null&&k.updateLights(E.state.lightsArray),L.sortObjects===!0&&C.sort(We,st),Yt=le.enabled===!1||le.isPresenting===!1||le.hasDepthSensing()===!1,Yt&&O.addToRenderList(C,w),this.info.autoReset===!0&&this.info.reset(),Ot===!0&&ie.beginShadows();let Z=E.state.shadowsArray;if(pe.render(Z,w,z),Ot===!0&&ie.endShadows(),(Y&&F.hasRenderPass())===!1){let Ie=C.opaque,Ee=C.transmissive;if(E.setupLights(),z.isArrayCamera){let Le=z.cameras;if(Ee.length>0)for(let ke=0,Qe=Le.length;ke<Qe;ke++){let dt=Le[ke];Si(Ie,Ee,w,dt)}Yt&&O.render(w);for(let ke=0,Qe=Le.length;ke<Qe;ke++){let dt=Le[ke];Lo(C,w,dt,dt.viewport)}}else Ee.length>0&&Si(Ie,Ee,w,z),Yt&&O.render(w),Lo(C,w,z)}ce!==null&&H===0&&(qe.updateMultisampleRenderTarget(ce),qe.updateRenderTargetMipmap(ce)),Y&&F.end(L),w.isScene===!0&&w.onAfterRender(L,w,z),Se.resetDefaultState(),K=-1,Q=null,A.pop(),A.length>0?(E=A[A.length-1],qe.setTextureUnits(E.state.textureUnits),Ot===!0&&ie.setGlobalState(L.clippingPlanes,E.state.camera)):E=null,x.pop(),x.length>0?C=x[x.length-1]:C=null,k!==null&&k.renderEnd()};function ss(w,z,j,Y){if(w.visible===!1)return;if(w.layers.test(z.layers)){if(w.isGroup)j=w.renderOrder;else if(w.isLOD)w.autoUpdate===!0&&w.update(z);else if(w.isLight)E.pushLight(w),w.castShadow&&E.pushShadow(w);else if(w.isSprite){let Ie=z.isArrayCamera?Wt:nt;if(!w.frustumCulled||w.intersectsFrustum(Ie)){Y&&yt.setFromMatrixPosition(w.matrixWorld).applyMatrix4(It);let Ee=he.update(w),Le=w.material;Le.visible&&C.push(w,Ee,Le,j,yt.z,null,z)}}else if(w.isMesh||w.isLine||w.isPoints){let Ie=z.isArrayCamera?Wt:nt;if(!w.frustumCulled||w.intersectsFrustum(Ie)){let Ee=he.update(w),Le=w.material;if(Y&&(w.boundingSphere!==void 0?(w.boundingSphere===null&&w.computeBoundingSphere(),yt.copy(w.boundingSphere.center)):(Ee.boundingSphere===null&&Ee.computeBoundingSphere(),yt.copy(Ee.boundingSphere.center)),yt.applyMatrix4(w.matrixWorld).applyMatrix4(It)),Array.isArray(Le)){let ke=Ee.groups;for(let Qe=0,dt=ke.length;Qe<dt;Qe++){let Be=ke[Qe],ft=Le[Be.materialIndex];ft&&ft.visible&&C.push(w,Ee,ft,j,yt.z,Be,z)}}else Le.visible&&C.push(w,Ee,Le,j,yt.z,null,z)}}}let Ae=w.children;for(let Ie=0,Ee=Ae.length;Ie<Ee;Ie++)ss(Ae[Ie],z,j,Y)}function Lo(w,z,j,Y){let{opaque:Z,transmissive:Ae,transparent:Ie}=w;E.setupLightsView(j),Ot===!0&&ie.setGlobalState(L.clippingPlanes,j),Y&&Me.viewport(se.copy(Y)),Z.length>0&&$t(Z,z,j),Ae.length>0&&$t(Ae,z,j),Ie.length>0&&$t(Ie,z,j),Me.buffers.depth.setTest(!0),Me.buffers.depth.setMask(!0),Me.buffers.color.setMask(!0),Me.setPolygonOffset(!1)}function Si(w,z,j,Y){if((j.isScene===!0?j.overrideMaterial:null)!==null)return;if(E.state.transmissionRenderTarget[Y.id]===void 0){let Be=$e.has("EXT_color_buffer_half_float")||$e.has("EXT_color_buffer_float");E.state.transmissionRenderTarget[Y.id]=new di(1,1,{generateMipmaps:!0,type:Be?Fi:jn,minFilter:Ms,samples:Math.max(4,rt.samples),stencilBuffer:r,resolveDepthBuffer:!1,resolveStencilBuffer:!1,storeMultisampledDepthBuffer:!1,storeMultisampledStencilBuffer:!1,colorSpace:xt.workingColorSpace})}let Ae=E.state.transmissionRenderTarget[Y.id],Ie=Y.viewport||se;Ae.setSize(Ie.z*L.transmissionResolutionScale,Ie.w*L.transmissionResolutionScale);let Ee=L.getRenderTarget(),Le=L.getActiveCubeFace(),ke=L.getActiveMipmapLevel();L.setRenderTarget(Ae),L.getClearColor(ee),me=L.getClearAlpha(),me<1&&L.setClearColor(16777215,.5),L.clear(),Yt&&O.render(j);let Qe=L.toneMapping;L.toneMapping=Ki;let dt=Y.viewport;if(Y.viewport!==void 0&&(Y.viewport=void 0),E.setupLightsView(Y),Ot===!0&&ie.setGlobalState(L.clippingPlanes,Y),$t(w,j,Y),qe.updateMultisampleRenderTarget(Ae),qe.updateRenderTargetMipmap(Ae),$e.has("WEBGL_multisampled_render_to_texture")===!1){let Be=!1;for(let ft=0,qt=z.length;ft<qt;ft++){let Tt=z[ft],{object:Ct,geometry:pn,material:Ue,group:an}=Tt;if(Ue.side===Ji&&Ct.layers.test(Y.layers)){let gt=Ue.side;Ue.side=Cn,Ue.needsUpdate=!0,tn(Ct,j,Y,pn,Ue,an),Ue.side=gt,Ue.needsUpdate=!0,Be=!0}}Be===!0&&(qe.updateMultisampleRenderTarget(Ae),qe.updateRenderTargetMipmap(Ae))}L.setRenderTarget(Ee,Le,ke),L.setClearColor(ee,me),dt!==void 0&&(Y.viewport=dt),L.toneMapping=Qe}function $t(w,z,j){let Y=z.isScene===!0?z.overrideMaterial:null;for(let Z=0,Ae=w.length;Z<Ae;Z++){let Ie=w[Z],{object:Ee,geometry:Le,group:ke}=Ie,Qe=Ie.material;Qe.allowOverride===!0&&Y!==null&&(Qe=Y),Ee.layers.test(j.layers)&&tn(Ee,z,j,Le,Qe,ke)}}function tn(w,z,j,Y,Z,Ae){k!==null&&Z.isNodeMaterial&&k.setObject(w,Z),w.onBeforeRender(L,z,j,Y,Z,Ae),w.modelViewMatrix.multiplyMatrices(j.matrixWorldInverse,w.matrixWorld),w.normalMatrix.getNormalMatrix(w.modelViewMatrix),Z.onBeforeRender(L,z,j,Y,w,Ae),Z.transparent===!0&&Z.side===Ji&&Z.forceSinglePass===!1?(Z.side=Cn,Z.needsUpdate=!0,L.renderBufferDirect(j,z,Y,Z,w,Ae),Z.side=qs,Z.needsUpdate=!0,L.renderBufferDirect(j,z,Y,Z,w,Ae),Z.side=Ji):L.renderBufferDirect(j,z,Y,Z,w,Ae),w.onAfterRender(L,z,j,Y,Z,Ae)}function nn(w){let z=0;for(let j of w)j.texture!==null&&z++;return z}function ki(w,z,j){z.isScene!==!0&&(z=fn);let Y=ze.get(w),Z=E.state.lights,Ae=E.state.shadowsArray,Ie=Z.state.version,Ee=oe.getParameters(w,Z.state,Ae,z,j,E.state.lightProbeGridArray),Le=oe.getProgramCacheKey(Ee),ke=Y.programs;Y.environment=w.isMeshStandardMaterial||w.isMeshLambertMaterial||w.isMeshPhongMaterial?z.environment:null,Y.fog=z.fog;let Qe=w.isMeshStandardMaterial||w.isMeshLambertMaterial&&!w.envMap||w.isMeshPhongMaterial&&!w.envMap;Y.envMap=R.get(w.envMap||Y.environment,Qe),Y.envMapRotation=Y.environment!==null&&w.envMap===null?z.environmentRotation:w.envMapRotation,ke===void 0&&(w.addEventListener("dispose",at),ke=new Map,Y.programs=ke,Y.programVariants=new Map);let dt=ke.get(Le);if(dt!==void 0){if(Y.currentProgram===dt&&Y.lightsStateVersion===Ie)return Do(w,Ee),dt}else Ee.uniforms=oe.getUniforms(w),k!==null&&w.isNodeMaterial&&k.build(w,j,Ee),w.onBeforeCompile(Ee,L),dt=oe.acquireProgram(Ee,Le),ke.set(Le,dt),Y.uniforms=Ee.uniforms;let Be=Y.uniforms;return(!w.isShaderMaterial&&!w.isRawShaderMaterial||w.clipping===!0)&&(Be.clippingPlanes=ie.uniform),Do(w,Ee),Y.needsLights=Ts(w),Y.lightsStateVersion=Ie,Y.needsLights&&(Be.ambientLightColor.value=Z.state.ambient,Be.lightProbe.value=Z.state.probe,Be.sunLights.value=Z.state.sun,Be.sunLightShadows.value=Z.state.sunShadow,Be.directionalLights.value=Z.state.directional,Be.directionalLightShadows.value=Z.state.directionalShadow,Be.spotLights.value=Z.state.spot,Be.spotLightShadows.value=Z.state.spotShadow,Be.rectAreaLights.value=Z.state.rectArea,Be.ltc_1.value=Z.state.rectAreaLTC1,Be.ltc_2.value=Z.state.rectAreaLTC2,Be.pointLights.value=Z.state.point,Be.pointLightShadows.value=Z.state.pointShadow,Be.hemisphereLights.value=Z.state.hemi,Be.sunShadowMatrix.value=Z.state.sunShadowMatrix,Be.sunShadowCascade.value=Z.state.sunShadowCascade,Be.directionalShadowMatrix.value=Z.state.directionalShadowMatrix,Be.spotLightMatrix.value=Z.state.spotLightMatrix,Be.spotLightMap.value=Z.state.spotLightMap,Be.pointShadowMatrix.value=Z.state.pointShadowMatrix),Y.numLightProbeGrids=nn(E.state.lightProbeGridArray),Y.currentProgram=dt,Y.uniformsList=null,dt}function Qn(w,z,j,Y,Z){let Ae=ze.get(w),Ie=Ae.currentProgram.id+","+Y+","+Z,Ee=Ae.programVariants.get(Ie);return Ee===void 0?(Ee=ki(w,z,j),Ae.programVariants.set(Ie,Ee)):(Ae.currentProgram=Ee,Ae.uniformsList=null,Ae.outputColorSpace=Y,Ae.toneMapping=Z),Ee}function Es(w){if(w.uniformsList===null){let z=w.currentProgram.getUniforms();w.uniformsList=Ao.seqWithValue(z.seq,w.uniforms)}return w.uniformsList}function Do(w,z){let j=ze.get(w);j.outputColorSpace=z.outputColorSpace,j.batching=z.batching,j.batchingColor=z.batchingColor,j.instancing=z.instancing,j.instancingColor=z.instancingColor,j.instancingMorph=z.instancingMorph,j.skinning=z.skinning,j.morphTargets=z.morphTargets,j.morphNormals=z.morphNormals,j.morphColors=z.morphColors,j.morphTargetsCount=z.morphTargetsCount,j.numClippingPlanes=z.numClippingPlanes,j.numIntersection=z.numClipIntersection,j.vertexAlphas=z.vertexAlphas,j.vertexTangents=z.vertexTangents,j.toneMapping=z.toneMapping}function No(w,z,j,Y,Z){z.isScene!==!0&&(z=fn),qe.resetTextureUnits();let Ae=z.fog,Ie=Y.isMeshStandardMaterial||Y.isMeshLambertMaterial||Y.isMeshPhongMaterial?z.environment:null,Ee=ce===null?L.outputColorSpace:ce.isXRRenderTarget===!0?ce.texture.colorSpace:xt.workingColorSpace,Le=Y.isMeshStandardMaterial||Y.isMeshLambertMaterial&&!Y.envMap||Y.isMeshPhongMaterial&&!Y.envMap,ke=R.get(Y.envMap||Ie,Le),Qe=Y.vertexColors===!0&&!!j.attributes.color&&j.attributes.color.itemSize===4,dt=!!j.attributes.tangent&&(!!Y.normalMap||Y.anisotropy>0),Be=!!j.morphAttributes.position,ft=!!j.morphAttributes.normal,qt=!!j.morphAttributes.color,Tt=Ki;Y.toneMapped&&(ce===null||ce.isXRRenderTarget===!0)&&(Tt=L.toneMapping);let Ct=j.morphAttributes.position||j.morphAttributes.normal||j.morphAttributes.color,pn=Ct!==void 0?Ct.length:0,Ue=ze.get(Y),an=E.state.lights;if(Ot===!0&&(rn===!0||w!==Q)){let Rt=w===Q&&Y.id===K;ie.setState(Y,w,Rt)}let gt=!1,rs=!1;Y.version===Ue.__version?Ue.needsLights&&Ue.lightsStateVersion!==an.state.version||Z.isBatchedMesh&&Ue.batching===!1||!Z.isBatchedMesh&&Ue.batching===!0||Z.isBatchedMesh&&Ue.batchingColor===!0&&Z._colorsTexture===null||Z.isBatchedMesh&&Ue.batchingColor===!1&&Z._colorsTexture!==null||Z.isInstancedMesh&&Ue.instancing===!1||!Z.isInstancedMesh&&Ue.instancing===!0||Z.isSkinnedMesh&&Ue.skinning===!1||!Z.isSkinnedMesh&&Ue.skinning===!0||Z.isInstancedMesh&&Ue.instancingColor===!0&&Z.instanceColor===null||Z.isInstancedMesh&&Ue.instancingColor===!1&&Z.instanceColor!==null||Z.isInstancedMesh&&Ue.instancingMorph===!0&&Z.morphTexture===null||Z.isInstancedMesh&&Ue.instancingMorph===!1&&Z.morphTexture!==null||Ue.envMap!==ke||Y.fog===!0&&Ue.fog!==Ae||Ue.numClippingPlanes!==void 0&&(Ue.numClippingPlanes!==ie.numPlanes||Ue.numIntersection!==ie.numIntersection)||Ue.vertexAlphas!==Qe||Ue.vertexTangents!==dt||Ue.morphTargets!==Be||Ue.morphNormals!==ft||Ue.morphColors!==qt||Ue.morphTargetsCount!==pn||Ue.numLightProbeGrids!==nn(E.state.lightProbeGridArray)?gt=!0:(Ue.outputColorSpace!==Ee||Ue.toneMapping!==Tt)&&(rs=!0):(gt=!0,Ue.__version=Y.version);let ln=Ue.currentProgram;(gt===!0||rs===!0)&&(ln=rs===!0?Qn(Y,z,Z,Ee,Tt):ki(Y,z,Z),k&&Y.isNodeMaterial&&k.onUpdateProgram(Y,ln,Ue));let br=!1,zi=!1,os=!1,ct=ln.getUniforms(),Zt=Ue.uniforms;if(Me.useProgram(ln.program)&&(br=!0,zi=!0,os=!0),Y.id!==K&&(K=Y.id,zi=!0),br||Q!==w){Me.buffers.depth.getReversed()&&w.reversedDepth!==!0&&(w._reversedDepth=!0,w.updateProjectionMatrix()),ct.setValue(B,"projectionMatrix",w.projectionMatrix),ct.setValue(B,"viewMatrix",w.matrixWorldInverse);let cn=ct.map.cameraPosition;cn!==void 0&&cn.setValue(B,vn.setFromMatrixPosition(w.matrixWorld)),rt.logarithmicDepthBuffer&&ct.setValue(B,"logDepthBufFC",2/(Math.log(w.far+1)/Math.LN2)),(Y.isMeshPhongMaterial||Y.isMeshToonMaterial||Y.isMeshLambertMaterial||Y.isMeshBasicMaterial||Y.isMeshStandardMaterial||Y.isShaderMaterial)&&ct.setValue(B,"isOrthographic",w.isOrthographicCamera===!0),Q!==w&&(Q=w,zi=!0,os=!0)}if(Ue.needsLights&&(an.state.sunShadowMap.length>0&&ct.setValue(B,"sunShadowMap",an.state.sunShadowMap,qe),an.state.directionalShadowMap.length>0&&ct.setValue(B,"directionalShadowMap",an.state.directionalShadowMap,qe),an.state.spotShadowMap.length>0&&ct.setValue(B,"spotShadowMap",an.state.spotShadowMap,qe),an.state.pointShadowMap.length>0&&ct.setValue(B,"pointShadowMap",an.state.pointShadowMap,qe)),Z.isSkinnedMesh){ct.setOptional(B,Z,"bindMatrix"),ct.setOptional(B,Z,"bindMatrixInverse");let Rt=Z.skeleton;Rt&&(Rt.boneTexture===null&&Rt.computeBoneTexture(),ct.setValue(B,"boneTexture",Rt.boneTexture,qe))}Z.isBatchedMesh&&(ct.setOptional(B,Z,"batchingTexture"),ct.setValue(B,"batchingTexture",Z._matricesTexture,qe),ct.setOptional(B,Z,"batchingIdTexture"),ct.setValue(B,"batchingIdTexture",Z._indirectTexture,qe),ct.setOptional(B,Z,"batchingColorTexture"),Z._colorsTexture!==null&&ct.setValue(B,"batchingColorTexture",Z._colorsTexture,qe));let Vn=j.morphAttributes;if((Vn.position!==void 0||Vn.normal!==void 0||Vn.color!==void 0)&&re.update(Z,j,ln),(zi||Ue.receiveShadow!==Z.receiveShadow)&&(Ue.receiveShadow=Z.receiveShadow,ct.setValue(B,"receiveShadow",Z.receiveShadow)),(Y.isMeshStandardMaterial||Y.isMeshLambertMaterial||Y.isMeshPhongMaterial)&&Y.envMap===null&&z.environment!==null&&(Zt.envMapIntensity.value=z.environmentIntensity),Zt.dfgLUT!==void 0&&(Zt.dfgLUT.value=DA()),zi){if(ct.setValue(B,"toneMappingExposure",L.toneMappingExposure),Ue.needsLights&&vr(Zt,os),Ae&&Y.fog===!0&&_e.refreshFogUniforms(Zt,Ae),_e.refreshMaterialUniforms(Zt,Y,be,Te,E.state.transmissionRenderTarget[w.id]),Ue.needsLights&&Ue.numLightProbeGrids>0){let Rt=S,cn=0;for(let Fn of E.state.lightProbeGridArray)Fn.texture!==null&&(Rt.textures[cn]=Fn.texture,Rt.min[cn]=Fn.boundingBox.min,Rt.max[cn]=Fn.boundingBox.max,Rt.resolution[cn]=Fn.resolution,cn++);for(let Fn in Rt)Rt[Fn].length=cn;Zt.probesSH.value=Rt.textures,Zt.probesMin.value=Rt.min,Zt.probesMax.value=Rt.max,Zt.probesResolution.value=Rt.resolution}Ao.upload(B,Es(Ue),Zt,qe)}if(Y.isShaderMaterial&&Y.uniformsNeedUpdate===!0&&(Ao.upload(B,Es(Ue),Zt,qe),Y.uniformsNeedUpdate=!1),Y.isSpriteMaterial&&ct.setValue(B,"center",Z.center),ct.setValue(B,"modelViewMatrix",Z.modelViewMatrix),ct.setValue(B,"normalMatrix",Z.normalMatrix),ct.setValue(B,"modelMatrix",Z.matrixWorld),Y.uniformsGroups!==void 0){let Rt=Y.uniformsGroups;for(let cn=0,Fn=Rt.length;cn<Fn;cn++){let el=Rt[cn];Ge.update(el,ln),Ge.bind(el,ln)}}return ln}function vr(w,z){w.ambientLightColor.needsUpdate=z,w.lightProbe.needsUpdate=z,w.sunLights.needsUpdate=z,w.sunLightShadows.needsUpdate=z,w.directionalLights.needsUpdate=z,w.directionalLightShadows.needsUpdate=z,w.pointLights.needsUpdate=z,w.pointLightShadows.needsUpdate=z,w.spotLights.needsUpdate=z,w.spotLightShadows.needsUpdate=z,w.rectAreaLights.needsUpdate=z,w.hemisphereLights.needsUpdate=z}function Ts(w){return w.isMeshLambertMaterial||w.isMeshToonMaterial||w.isMeshPhongMaterial||w.isMeshStandardMaterial||w.isShadowMaterial||w.isShaderMaterial&&w.lights===!0}this.getActiveCubeFace=function(){return $},this.getActiveMipmapLevel=function(){return H},this.getRenderTarget=function(){return ce},this.setRenderTargetTextures=function(w,z,j){let Y=ze.get(w);Y.__autoAllocateDepthBuffer=w.resolveDepthBuffer===!1,Y.__autoAllocateDepthBuffer===!1&&(Y.__useRenderToTexture=!1),ze.get(w.texture).__webglTexture=z,ze.get(w.depthTexture).__webglTexture=Y.__autoAllocateDepthBuffer?void 0:j,Y.__hasExternalTextures=!0},this.setRenderTargetFramebuffer=function(w,z){let j=ze.get(w);j.__webglFramebuffer=z,j.__useDefaultFramebuffer=z===void 0},this.setRenderTarget=function(w,z=0,j=0){ce=w,$=z,H=j;let Y=null,Z=!1,Ae=!1;if(w){let Ee=ze.get(w);if(Ee.__useDefaultFramebuffer!==void 0){Me.bindFramebuffer(B.FRAMEBUFFER,Ee.__webglFramebuffer),se.copy(w.viewport),de.copy(w.scissor),ue=w.scissorTest,Me.viewport(se),Me.scissor(de),Me.setScissorTest(ue),K=-1;return}else if(Ee.__webglFramebuffer===void 0)qe.setupRenderTarget(w);else if(Ee.__hasExternalTextures)qe.rebindTextures(w,ze.get(w.texture).__webglTexture,ze.get(w.depthTexture).__webglTexture);else if(w.depthBuffer){let Qe=w.depthTexture;if(Ee.__boundDepthTexture!==Qe){if(Qe!==null&&ze.has(Qe)&&(w.width!==Qe.image.width||w.height!==Qe.image.height))throw new Error("THREE.WebGLRenderer: Attached DepthTexture is initialized to the incorrect size.");qe.setupDepthRenderbuffer(w)}}let Le=w.texture;(Le.isData3DTexture||Le.isDataArrayTexture||Le.isCompressedArrayTexture)&&(Ae=!0);let ke=ze.get(w).__webglFramebuffer;w.isWebGLCubeRenderTarget?(Array.isArray(ke[z])?Y=ke[z][j]:Y=ke[z],Z=!0):w.samples>0&&qe.useMultisampledRTT(w)===!1?Y=ze.get(w).__webglMultisampledFramebuffer:Array.isArray(ke)?Y=ke[j]:Y=ke,se.copy(w.viewport),de.copy(w.scissor),ue=w.scissorTest}else se.copy(Ve).multiplyScalar(be).floor(),de.copy(ut).multiplyScalar(be).floor(),ue=lt;if(j!==0&&(Y=V),Me.bindFramebuffer(B.FRAMEBUFFER,Y)&&Me.drawBuffers(w,Y),Me.viewport(se),Me.scissor(de),Me.setScissorTest(ue),Z){let Ee=ze.get(w.texture);B.framebufferTexture2D(B.FRAMEBUFFER,B.COLOR_ATTACHMENT0,B.TEXTURE_CUBE_MAP_POSITIVE_X+z,Ee.__webglTexture,j)}else if(Ae){let Ee=z;for(let Le=0;Le<w.textures.length;Le++){let ke=ze.get(w.textures[Le]);B.framebufferTextureLayer(B.FRAMEBUFFER,B.COLOR_ATTACHMENT0+Le,ke.__webglTexture,j,Ee)}}else if(w!==null&&j!==0){let Ee=ze.get(w.texture);B.framebufferTexture2D(B.FRAMEBUFFER,B.COLOR_ATTACHMENT0,B.TEXTURE_2D,Ee.__webglTexture,j)}K=-1};function Sr(w){let z=ze.get(w);return(z.__readFormat!==w.format||z.__readType!==w.type)&&(z.__readFormat=w.format,z.__readType=w.type,z.__formatReadable=rt.textureFormatReadable(w.format),z.__typeReadable=rt.textureTypeReadable(w.type)),z}this.readRenderTargetPixels=function(w,z,j,Y,Z,Ae,Ie,Ee=0){if(!(w&&w.isWebGLRenderTarget)){et("WebGLRenderer.readRenderTargetPixels: renderTarget is not THREE.WebGLRenderTarget.");return}let Le=ze.get(w).__webglFramebuffer;if(w.isWebGLCubeRenderTarget&&Ie!==void 0&&(Le=Le[Ie],Array.isArray(Le)&&(Le=Le[0])),Le){Me.bindFramebuffer(B.FRAMEBUFFER,Le);try{let ke=w.textures[Ee],Qe=ke.format,dt=ke.type;w.textures.length>1&&B.readBuffer(B.COLOR_ATTACHMENT0+Ee);let Be=Sr(ke);if(Be.__formatReadable===!1){et("WebGLRenderer.readRenderTargetPixels: renderTarget is not in RGBA or implementation defined format.");return}if(Be.__typeReadable===!1){et("WebGLRenderer.readRenderTargetPixels: renderTarget is not in UnsignedByteType or implementation defined type.");return}z>=0&&z<=w.width-Y&&j>=0&&j<=w.height-Z&&B.readPixels(z,j,Y,Z,ge.convert(Qe),ge.convert(dt),Ae)}finally{let ke=ce!==null?ze.get(ce).__webglFramebuffer:null;Me.bindFramebuffer(B.FRAMEBUFFER,ke)}}},this.readRenderTargetPixelsAsync=async function(w,z,j,Y,Z,Ae,Ie,Ee=0){if(!(w&&w.isWebGLRenderTarget))throw new Error("THREE.WebGLRenderer.readRenderTargetPixels: renderTarget is not THREE.WebGLRenderTarget.");let Le=ze.get(w).__webglFramebuffer;if(w.isWebGLCubeRenderTarget&&Ie!==void 0&&(Le=Le[Ie],Array.isArray(Le)&&(Le=Le[0])),Le)if(z>=0&&z<=w.width-Y&&j>=0&&j<=w.height-Z){Me.bindFramebuffer(B.FRAMEBUFFER,Le);let ke=w.textures[Ee],Qe=ke.format,dt=ke.type;w.textures.length>1&&B.readBuffer(B.COLOR_ATTACHMENT0+Ee);let Be=Sr(ke);if(Be.__formatReadable===!1)throw new Error("THREE.WebGLRenderer.readRenderTargetPixelsAsync: renderTarget is not in RGBA or implementation defined format.");if(Be.__typeReadable===!1)throw new Error("THREE.WebGLRenderer.readRenderTargetPixelsAsync: renderTarget is not in UnsignedByteType or implementation defined type.");let ft=B.createBuffer();B.bindBuffer(B.PIXEL_PACK_BUFFER,ft),B.bufferData(B.PIXEL_PACK_BUFFER,Ae.byteLength,B.STREAM_READ),B.readPixels(z,j,Y,Z,ge.convert(Qe),ge.convert(dt),0),B.bindBuffer(B.PIXEL_PACK_BUFFER,null);let qt=ce!==null?ze.get(ce).__webglFramebuffer:null;Me.bindFramebuffer(B.FRAMEBUFFER,qt);let Tt=B.fenceSync(B.SYNC_GPU_COMMANDS_COMPLETE,0);return B.flush(),await t_(B,Tt,4),B.bindBuffer(B.PIXEL_PACK_BUFFER,ft),B.getBufferSubData(B.PIXEL_PACK_BUFFER,0,Ae),B.bindBuffer(B.PIXEL_PACK_BUFFER,null),B.deleteBuffer(ft),B.deleteSync(Tt),Ae}else throw new Error("THREE.WebGLRenderer.readRenderTargetPixelsAsync: requested read bounds are out of range.")},this.copyFramebufferToTexture=function(w,z=null,j=0){let Y=Math.pow(2,-j),Z=Math.floor(w.image.width*Y),Ae=Math.floor(w.image.height*Y),Ie=z!==null?z.x:0,Ee=z!==null?z.y:0;qe.setTexture2D(w,0),B.copyTexSubImage2D(B.TEXTURE_2D,j,0,0,Ie,Ee,Z,Ae),Me.unbindTexture()},this.copyTextureToTexture=function(w,z,j=null,Y=null,Z=0,Ae=0){let Ie,Ee,Le,ke,Qe,dt,Be,ft,qt,Tt=w.isCompressedTexture?w.mipmaps[Ae]:w.image;if(j!==null)Ie=j.max.x-j.min.x,Ee=j.max.y-j.min.y,Le=j.isBox3?j.max.z-j.min.z:1,ke=j.min.x,Qe=j.min.y,dt=j.isBox3?j.min.z:0;else{let ct=Math.pow(2,-Z);Ie=Math.floor(Tt.width*ct),Ee=Math.floor(Tt.height*ct),w.isDataArrayTexture?Le=Tt.depth:w.isData3DTexture?Le=Math.floor(Tt.depth*ct):Le=1,ke=0,Qe=0,dt=0}Y!==null?(Be=Y.x,ft=Y.y,qt=Y.z):(Be=0,ft=0,qt=0);let Ct=ge.convert(z.format),pn=ge.convert(z.type),Ue;z.isData3DTexture?(qe.setTexture3D(z,0),Ue=B.TEXTURE_3D):z.isDataArrayTexture||z.isCompressedArrayTexture?(qe.setTexture2DArray(z,0),Ue=B.TEXTURE_2D_ARRAY):(qe.setTexture2D(z,0),Ue=B.TEXTURE_2D),Me.activeTexture(B.TEXTURE0),Me.pixelStorei(B.UNPACK_FLIP_Y_WEBGL,z.flipY),Me.pixelStorei(B.UNPACK_PREMULTIPLY_ALPHA_WEBGL,z.premultiplyAlpha),Me.pixelStorei(B.UNPACK_ALIGNMENT,z.unpackAlignment);let an=Me.getParameter(B.UNPACK_ROW_LENGTH),gt=Me.getParameter(B.UNPACK_IMAGE_HEIGHT),rs=Me.getParameter(B.UNPACK_SKIP_PIXELS),ln=Me.getParameter(B.UNPACK_SKIP_ROWS),br=Me.getParameter(B.UNPACK_SKIP_IMAGES);Me.pixelStorei(B.UNPACK_ROW_LENGTH,Tt.width),Me.pixelStorei(B.UNPACK_IMAGE_HEIGHT,Tt.height),Me.pixelStorei(B.UNPACK_SKIP_PIXELS,ke),Me.pixelStorei(B.UNPACK_SKIP_ROWS,Qe),Me.pixelStorei(B.UNPACK_SKIP_IMAGES,dt);let zi=w.isDataArrayTexture||w.isData3DTexture,os=z.isDataArrayTexture||z.isData3DTexture;if(w.isDepthTexture){let ct=ze.get(w),Zt=ze.get(z),Vn=ze.get(ct.__renderTarget),Rt=ze.get(Zt.__renderTarget);Me.bindFramebuffer(B.READ_FRAMEBUFFER,Vn.__webglFramebuffer),Me.bindFramebuffer(B.DRAW_FRAMEBUFFER,Rt.__webglFramebuffer);for(let cn=0;cn<Le;cn++)zi&&(B.framebufferTextureLayer(B.READ_FRAMEBUFFER,B.COLOR_ATTACHMENT0,ze.get(w).__webglTexture,Z,dt+cn),B.framebufferTextureLayer(B.DRAW_FRAMEBUFFER,B.COLOR_ATTACHMENT0,ze.get(z).__webglTexture,Ae,qt+cn)),B.blitFramebuffer(ke,Qe,ke+Ie,Qe+Ee,Be,ft,Be+Ie,ft+Ee,B.DEPTH_BUFFER_BIT,B.NEAREST);Me.bindFramebuffer(B.READ_FRAMEBUFFER,null),Me.bindFramebuffer(B.DRAW_FRAMEBUFFER,null)}else if(Z!==0||w.isRenderTargetTexture||ze.has(w)){let ct=ze.get(w),Zt=ze.get(z);Me.bindFramebuffer(B.READ_FRAMEBUFFER,N),Me.bindFramebuffer(B.DRAW_FRAMEBUFFER,W);for(let Vn=0;Vn<Le;Vn++)zi?B.framebufferTextureLayer(B.READ_FRAMEBUFFER,B.COLOR_ATTACHMENT0,ct.__webglTexture,Z,dt+Vn):B.framebufferTexture2D(B.READ_FRAMEBUFFER,B.COLOR_ATTACHMENT0,B.TEXTURE_2D,ct.__webglTexture,Z),os?B.framebufferTextureLayer(B.DRAW_FRAMEBUFFER,B.COLOR_ATTACHMENT0,Zt.__webglTexture,Ae,qt+Vn):B.framebufferTexture2D(B.DRAW_FRAMEBUFFER,B.COLOR_ATTACHMENT0,B.TEXTURE_2D,Zt.__webglTexture,Ae),Z!==0?B.blitFramebuffer(ke,Qe,ke+Ie,Qe+Ee,Be,ft,Be+Ie,ft+Ee,B.COLOR_BUFFER_BIT,B.NEAREST):os?B.copyTexSubImage3D(Ue,Ae,Be,ft,qt+Vn,ke,Qe,Ie,Ee):B.copyTexSubImage2D(Ue,Ae,Be,ft,ke,Qe,Ie,Ee);Me.bindFramebuffer(B.READ_FRAMEBUFFER,null),Me.bindFramebuffer(B.DRAW_FRAMEBUFFER,null)}else os?w.isDataTexture||w.isData3DTexture?B.texSubImage3D(Ue,Ae,Be,ft,qt,Ie,Ee,Le,Ct,pn,Tt.data):z.isCompressedArrayTexture?B.compressedTexSubImage3D(Ue,Ae,Be,ft,qt,Ie,Ee,Le,Ct,Tt.data):B.texSubImage3D(Ue,Ae,Be,ft,qt,Ie,Ee,Le,Ct,pn,Tt):w.isDataTexture?B.texSubImage2D(B.TEXTURE_2D,Ae,Be,ft,Ie,Ee,Ct,pn,Tt.data):w.isCompressedTexture?B.compressedTexSubImage2D(B.TEXTURE_2D,Ae,Be,ft,Tt.width,Tt.height,Ct,Tt.data):B.texSubImage2D(B.TEXTURE_2D,Ae,Be,ft,Ie,Ee,Ct,pn,Tt);Me.pixelStorei(B.UNPACK_ROW_LENGTH,an),Me.pixelStorei(B.UNPACK_IMAGE_HEIGHT,gt),Me.pixelStorei(B.UNPACK_SKIP_PIXELS,rs),Me.pixelStorei(B.UNPACK_SKIP_ROWS,ln),Me.pixelStorei(B.UNPACK_SKIP_IMAGES,br),Ae===0&&z.generateMipmaps===!0&&z.mipmapsAutoUpdate===!0&&B.generateMipmap(Ue),Me.unbindTexture()},this.initRenderTarget=function(w){ze.get(w).__webglFramebuffer===void 0&&qe.setupRenderTarget(w)},this.initTexture=function(w){w.isCubeTexture?qe.setTextureCube(w,0):w.isData3DTexture?qe.setTexture3D(w,0):w.isDataArrayTexture||w.isCompressedArrayTexture?qe.setTexture2DArray(w,0):qe.setTexture2D(w,0),Me.unbindTexture()},this.resetState=function(){$=0,H=0,ce=null,Me.reset(),Se.reset()},typeof __THREE_DEVTOOLS__<"u"&&__THREE_DEVTOOLS__.dispatchEvent(new CustomEvent("observe",{detail:this}))}get coordinateSystem(){return yi}get outputColorSpace(){return this._outputColorSpace}set outputColorSpace(e){this._outputColorSpace=e;let t=this.getContext();t.drawingBufferColorSpace=xt._getDrawingBufferColorSpace(e),t.unpackColorSpace=xt._getUnpackColorSpace()}};var _r=64,B_=.04,k_=.6,z_=4;function Ka(i){let e=i.size;if(i.shape==="box")return new Vs(e.size_x,e.size_y,e.size_z);if(i.shape==="sphere")return new Ea(e.radius,_r,32).rotateX(Math.PI/2);if(i.shape==="mesh"){let t=new Qt,n=e.triangles.flatMap(s=>s.flatMap(r=>e.vertices[r]));return t.setAttribute("position",new mt(n,3)),t.computeVertexNormals(),t}return NA(Xf(i))}function Wf(i,e){if(i.shape==="box"||i.shape==="mesh"||i.shape==="sphere")return new ba(e,25).getAttribute("position").array;let t=Xf(i).filter(([s])=>s>0),n=[];for(let[s,r]of t)for(let o=0;o<_r;o+=1)n.push(...Hh(s,r,o),...Hh(s,r,o+1));return new Float32Array(n)}function V_(i,e){let t=Array.from(Wf(i,e));if(i.shape==="cylinder"||i.shape==="cone"||i.shape==="ring"){let n=Xf(i).filter(([s])=>s>0);for(let s=1;s<n.length;s+=1)for(let r=0;r<z_;r+=1){let o=r*_r/z_;t.push(...Hh(...n[s-1],o),...Hh(...n[s],o))}}return new Float32Array(t)}function Hh(i,e,t){let n=t*2*Math.PI/_r;return[i*Math.cos(n),i*Math.sin(n),e]}function Xf(i){let e=i.size,t=e.height/2;if(i.shape==="ring"){let{inner_radius:r,outer_radius:o}=e,a=Math.min(k_,B_*Math.min(e.height,o-r));return[[r,-t],[o-a,-t],[o,-t+a],[o,t-a],[o-a,t],[r,t],[r,-t]]}if(i.shape==="cone")return[[0,-t],[e.radius_bottom,-t],[e.radius_top,t],[0,t]];let n=e.radius,s=Math.min(k_,B_*Math.min(e.height,n));return[[0,-t],[n-s,-t],[n,-t+s],[n,t-s],[n-s,t],[0,t]]}function NA(i){let e=[],t=[],n=[];for(let r=1;r<i.length;r+=1){let[o,a]=i[r-1],[c,l]=i[r],u=Math.hypot(c-o,l-a)||1,h=(l-a)/u,d=-(c-o)/u,f=e.length/3;for(let g=0;g<=_r;g+=1){let y=g*2*Math.PI/_r,[m,p]=[Math.cos(y),Math.sin(y)];e.push(o*m,o*p,a,c*m,c*p,l),t.push(h*m,h*p,d,h*m,h*p,d)}for(let g=0;g<_r;g+=1){let y=f+2*g;n.push(y,y+2,y+3,y,y+3,y+1)}}let s=new Qt;return s.setAttribute("position",new mt(e,3)),s.setAttribute("normal",new mt(t,3)),s.setIndex(n),s}var Xh=["spindle","tool"],G_=["face","nose","holder","shank"],UA=1.6;function FA(i,e,t){return e.startsWith("edge")?"edge":["spindle","tool","pad"].includes(i)&&e in t?e:e==="bolt"?"bolt":i in t?i:"other"}function qh(i,e){let t=e.turn_deg.map(n=>n*Math.PI/180);i.position.set(...e.at),i.rotation.set(t[0],t[1],t[2],"ZYX")}var Wh=class{constructor(e,t){this.scenery=e;this.look=t;this.root=new _n;this.clip=new hi(new U(0,1,0),0);this.size={value:new He(1,1)};this.solids=[];this.models=new Map;this.insides=[];this.clipped=[]}pose(e){let t=this.scenery.positionAt(e),n=this.scenery.bodiesAt(e,t),[s]=this.scenery.spindleAt(e);this.solids=[];for(let r of this.models.values())r.group.visible=!1;for(let r of n.values()){let o=this.modelOf(r),a=this.scenery.geometryOf(r),c=a.soft?this.scenery.padDepthAt(r.id.replace(/\.pad$/,""),e):0,l=Xh.includes(a.kind)?s:0;o.group.visible=!0,o.group.position.set(r.position[0],r.position[1],r.position[2]-c),o.group.rotation.set(0,0,r.turn_deg*Math.PI/180+l),o.group.updateMatrixWorld(!0);for(let u of o.solids)u.box.copy(u.own).applyMatrix4(u.object.matrixWorld);this.solids.push(...o.solids)}}cut(e,t=[0,-1]){let n=e?[this.clip]:null;e&&(this.clip.normal.set(-t[0],-t[1],0).normalize(),this.clip.constant=-this.clip.normal.dot(new U(...e)));for(let s of this.insides)s.visible=e!==null;for(let s of this.clipped)s.clippingPlanes===null!=(n===null)&&(s.needsUpdate=!0),s.clippingPlanes=n}showMachine(e){for(let t of this.solids)t.kind==="machine"&&(t.object.visible=e)}modelOf(e){let t=this.models.get(e.id);if(t&&t.key===e.geometry)return t;t&&this.root.remove(t.group);let n=this.scenery.geometryOf(e),s={key:e.geometry,group:new _n,solids:[]};for(let r of n.parts)s.solids.push(this.solidOf(e.id,n,r,s.group));return this.models.set(e.id,s),this.root.add(s.group),s}solidOf(e,t,n,s){let r=FA(t.kind,n.feature,this.look.materials),o=this.look.materials[r],a=Ka(n),c=new _n;qh(c,n);let l=o.opacity>=1,u=new Di({color:o.colour,specular:new je(1,1,1).multiplyScalar(o.specular*.5),shininess:o.gloss,transparent:!l,opacity:o.opacity,depthWrite:l,polygonOffset:!0,polygonOffsetFactor:1,polygonOffsetUnits:1}),h=new en(a,u);h.renderOrder=l?0:5,c.add(h);let d=new Qt;d.setAttribute("position",new ui(Wf(n,a),3));let f=new ur({color:this.look.edge,transparent:!0,opacity:l?.85:.35});if(c.add(new _o(d,f)),l&&n.shape!=="box"&&n.shape!=="mesh"&&c.add(new en(a,this.contour(r))),G_.includes(r)){let y=new en(a,this.hatching(o.colour));y.visible=!1,c.add(y),this.insides.push(y),this.clipped.push(u,f)}s.add(c),a.computeBoundingBox();let g=n.shape==="ring"?n.size.inner_radius:0;return{body:e,kind:t.kind,look:r,feature:n.feature,own:a.boundingBox.clone(),box:new Ln,bore:g,object:c}}hatching(e){let t=new Zn({side:Cn,clipping:!0,uniforms:{base:{value:new je(e)},line:{value:new je(this.look.edge)}},vertexShader:`
        #include <clipping_planes_pars_vertex>
        void main() {
          vec4 mvPosition = modelViewMatrix * vec4(position, 1.0);
          gl_Position = projectionMatrix * mvPosition;
          #include <clipping_planes_vertex>
        }`,fragmentShader:`
        #include <clipping_planes_pars_fragment>
        uniform vec3 base;
        uniform vec3 line;
        void main() {
          #include <clipping_planes_fragment>
          float on = step(0.86, fract((gl_FragCoord.x + gl_FragCoord.y) / 13.0));
          gl_FragColor = vec4(mix(base * 1.08, line, on * 0.6), 1.0);
          #include <colorspace_fragment>
        }`});return this.clipped.push(t),t}contour(e){let t=new Zn({side:Cn,clipping:!0,uniforms:{size:this.size,ink:{value:new je(this.look.edge)}},vertexShader:`
        #include <clipping_planes_pars_vertex>
        uniform vec2 size;
        void main() {
          vec4 mvPosition = modelViewMatrix * vec4(position, 1.0);
          gl_Position = projectionMatrix * mvPosition;
          vec4 along = projectionMatrix * vec4(normalize(normalMatrix * normal), 0.0);
          if (length(along.xy) > 1e-6)
            gl_Position.xy += normalize(along.xy * size) / size * ${(2*UA).toFixed(1)} * gl_Position.w;
          #include <clipping_planes_vertex>
        }`,fragmentShader:`
        #include <clipping_planes_pars_fragment>
        uniform vec3 ink;
        void main() {
          #include <clipping_planes_fragment>
          gl_FragColor = vec4(ink, 1.0);
          #include <colorspace_fragment>
        }`});return G_.includes(e)&&this.clipped.push(t),t}};var H_=["pad","block","stock","fixture","setter","table"],OA=["head","machine","table"],qf=30,W_=[32,-32,4,78,-78],BA=.28,Yh=class{constructor(e){this.angleDeg=e;this.name="choose";this.now=null;this.aside=[0,0];this.chosen=new Map;this.camera=new Yn(e,1,10,6e4),this.camera.up.set(0,0,1)}approach(e,t,n){this.now||(this.now={...e,focus:e.focus.clone()});let s=this.now,r=t<=0?1:1-Math.exp(-t/BA),o=s.focus.distanceTo(e.focus)/e.half+Math.abs(Math.log(e.half/s.half))+Math.abs(e.azimuth-s.azimuth)+Math.abs(e.elevation-s.elevation);s.focus.lerp(e.focus,r),s.half*=(e.half/s.half)**r,s.azimuth+=(e.azimuth-s.azimuth)*r,s.elevation+=(e.elevation-s.elevation)*r;let a=Math.abs(n[0]-this.aside[0])+Math.abs(n[1]-this.aside[1]);return this.aside[0]+=(n[0]-this.aside[0])*r,this.aside[1]+=(n[1]-this.aside[1])*r,this.put(s),o+a>1e-4}put(e){let t=this.camera.aspect,s=e.half*Math.max(1,1.15/t)/Math.tan(this.angleDeg*Math.PI/360),[r,o]=[e.azimuth*Math.PI/180,e.elevation*Math.PI/180],a=new U(Math.sin(r)*Math.cos(o),-Math.cos(r)*Math.cos(o),Math.sin(o));this.camera.position.copy(e.focus).addScaledVector(a,s),this.camera.near=s*.1,this.camera.far=s*6+8e3,this.camera.lookAt(e.focus);let[c,l]=this.aside;this.camera.setViewOffset(t,1,-c*t,l,t,1),this.camera.updateProjectionMatrix(),this.camera.updateMatrixWorld()}aim(e,t,n,s){if(e==="whole")return X_(t);let r=To(t),o=Zh(t,r);if(!r)return X_(t);let a=r.box,[c,l]=[(a.min.x+a.max.x)/2,(a.min.y+a.max.y)/2],u=$h(t);if(e==="nose"){let v=t.find(C=>C.look==="face")??r,T=v.box.max.x-v.box.min.x,S=new U(u.x,u.y,v.box.min.z);return{focus:S,half:Math.max(.8*T,qf),azimuth:this.free(S,t,n,W_,s),elevation:-6}}let h=o?Math.max(a.min.z-o.box.max.z,0):0;if(e==="follow"||!o||h>160){let v=Math.min(Math.max(.62*h+60,90),320);return{focus:new U(u.x,u.y,a.min.z-Math.min(h,400)*.42),half:v,azimuth:30,elevation:14}}let d=o.box,f=new U(Math.min(Math.max(c,d.min.x),d.max.x),Math.min(Math.max(l,d.min.y),d.max.y),0),g=Math.max(a.max.x-a.min.x,a.max.y-a.min.y,Math.min(d.max.x-d.min.x,70),12),y=Math.max(.75*g,qf)+.5*h+.4*Math.hypot(f.x-c,f.y-l),m=new U((c+f.x)/2,(l+f.y)/2,(a.min.z+Math.min(d.max.z,a.min.z))/2);r.look==="lug"&&m.set((m.x+u.x)/2,(m.y+u.y)/2,m.z);let p=s?-4:9;return{focus:m,half:s?y*1.25:y,azimuth:this.free(m,t,n,W_,s),elevation:p}}place(e){let t=e.box.getSize(new U),n=Math.max(1.5*Math.max(t.x,t.y),qf);return{focus:e.box.getCenter(new U).setZ(e.box.max.z),half:n,azimuth:24,elevation:18}}free(e,t,n,s,r){let o=n?this.chosen.get(n):void 0;if(o!==void 0)return o;let a=$h(t),c=r?To(t):null,l=s.map(h=>{let d=h*Math.PI/180,f=e.clone().add(new U(Math.sin(d),-Math.cos(d),.16).multiplyScalar(900)),g=t.filter(m=>!OA.includes(m.look)&&!Xh.includes(m.kind)&&!["pad","setter"].includes(m.kind)&&kA(f,e,m.box)).length;if(!c)return g;let y=c.box.getCenter(new U).sub(a);return g+(y.x*(f.x-e.x)+y.y*(f.y-e.y)<0?.5:0)}),u=s[l.indexOf(Math.min(...l))];return n&&this.chosen.set(n,u),u}};function To(i){return i.filter(t=>Xh.includes(t.kind)&&t.look!=="head").reduce((t,n)=>t&&t.box.min.z<=n.box.min.z?t:n,null)}function Zh(i,e){if(!e)return null;let t=null,n=1/0;for(let s of i){if(!H_.includes(s.kind))continue;let r=e.box,o=s.box,a=Math.hypot(Math.max(r.min.x-o.max.x,o.min.x-r.max.x,0),Math.max(r.min.y-o.max.y,o.min.y-r.max.y,0),Math.max(r.min.z-o.max.z,o.min.z-r.max.z,0)),c=Math.round(a*2)+H_.indexOf(s.kind)*.01;c<n&&([t,n]=[s,c])}return t}function $h(i){let e=i.find(t=>t.look==="face"||t.look==="holder"||t.look==="nose");return e?e.box.getCenter(new U):new U}function X_(i){let e=new Ln;for(let n of i)e.union(n.box);e.isEmpty()&&e.set(new U(-400,-400,-400),new U(400,400,400));let t=e.getSize(new U);return{focus:e.getCenter(new U),half:.4*t.length(),azimuth:34,elevation:20}}function kA(i,e,t){let[n,s]=[0,1];for(let r of["x","y","z"]){let o=e[r]-i[r],[a,c]=[t.min[r]-i[r],t.max[r]-i[r]];if(Math.abs(o)<1e-12){if(a>=0||c<=0)return!1;continue}let[l,u]=o>0?[a/o,c/o]:[c/o,a/o];n=Math.max(n,l),s=Math.min(s,u)}return n<s}Pe.line={worldUnits:{value:1},linewidth:{value:1},resolution:{value:new He},dashOffset:{value:0},dashScale:{value:1},dashSize:{value:1},gapSize:{value:1}};Jn.line={uniforms:qa.merge([Pe.common,Pe.fog,Pe.line]),vertexShader:`
		#include <common>
		#include <color_pars_vertex>
		#include <fog_pars_vertex>
		#include <logdepthbuf_pars_vertex>
		#include <clipping_planes_pars_vertex>

		uniform float linewidth;
		uniform vec2 resolution;

		attribute vec3 instanceStart;
		attribute vec3 instanceEnd;

		attribute vec3 instanceColorStart;
		attribute vec3 instanceColorEnd;

		#ifdef WORLD_UNITS

			varying vec4 worldPos;
			varying vec3 worldStart;
			varying vec3 worldEnd;

			#ifdef USE_DASH

				varying vec2 vUv;

			#endif

		#else

			varying vec2 vUv;

		#endif

		#ifdef USE_DASH

			uniform float dashScale;
			attribute float instanceDistanceStart;
			attribute float instanceDistanceEnd;
			varying float vLineDistance;

		#endif

		float trimSegmentAlpha( const in vec4 start, const in vec4 end ) {

			// compute the interpolation factor needed to trim the segment so it terminates
			// between the camera plane and the near plane

			// conservative estimate of the near plane
			float a = projectionMatrix[ 2 ][ 2 ]; // 3nd entry in 3th column
			float b = projectionMatrix[ 3 ][ 2 ]; // 3nd entry in 4th column

			// we need different nearEstimate formula for reversed and default depth buffer
			// a is positive with a reversed depth buffer so it can be used for controlling the code flow
			float nearEstimate = ( a > 0.0 ) ? ( - b / ( a + 1.0 ) ) : ( - 0.5 * b / a );

			return ( nearEstimate - start.z ) / ( end.z - start.z );

		}

		void main() {

			#ifdef USE_COLOR

				vColor.xyz = ( position.y < 0.5 ) ? instanceColorStart : instanceColorEnd;

			#endif

			float aspect = resolution.x / resolution.y;

			// camera space
			vec4 start = modelViewMatrix * vec4( instanceStart, 1.0 );
			vec4 end = modelViewMatrix * vec4( instanceEnd, 1.0 );

			#ifdef USE_DASH

				float lineDistanceStart = dashScale * instanceDistanceStart;
				float lineDistanceEnd = dashScale * instanceDistanceEnd;

			#endif

			#ifdef WORLD_UNITS

				worldStart = start.xyz;
				worldEnd = end.xyz;

			#else

				vUv = uv;

			#endif

			// special case for perspective projection, and segments that terminate either in, or behind, the camera plane
			// clearly the gpu firmware has a way of addressing this issue when projecting into ndc space
			// but we need to perform ndc-space calculations in the shader, so we must address this issue directly
			// perhaps there is a more elegant solution -- WestLangley

			bool perspective = ( projectionMatrix[ 2 ][ 3 ] == - 1.0 ); // 4th entry in the 3rd column

			if ( perspective ) {

				if ( start.z < 0.0 && end.z >= 0.0 ) {

					float alpha = trimSegmentAlpha( start, end );
					end.xyz = mix( start.xyz, end.xyz, alpha );

					#ifdef USE_DASH

						lineDistanceEnd = mix( lineDistanceStart, lineDistanceEnd, alpha );

					#endif

				} else if ( end.z < 0.0 && start.z >= 0.0 ) {

					float alpha = trimSegmentAlpha( end, start );
					start.xyz = mix( end.xyz, start.xyz, alpha );

					#ifdef USE_DASH

						lineDistanceStart = mix( lineDistanceEnd, lineDistanceStart, alpha );

					#endif

				}

			}

			#ifdef USE_DASH

				vLineDistance = ( position.y < 0.5 ) ? lineDistanceStart : lineDistanceEnd;
				vUv = uv;

			#endif

			// clip space
			vec4 clipStart = projectionMatrix * start;
			vec4 clipEnd = projectionMatrix * end;

			// ndc space
			vec3 ndcStart = clipStart.xyz / clipStart.w;
			vec3 ndcEnd = clipEnd.xyz / clipEnd.w;

			// direction
			vec2 dir = ndcEnd.xy - ndcStart.xy;

			// account for clip-space aspect ratio
			dir.x *= aspect;
			dir = normalize( dir );

			#ifdef WORLD_UNITS

				vec3 worldDir = normalize( end.xyz - start.xyz );
				vec3 tmpFwd = perspective ? normalize( mix( start.xyz, end.xyz, 0.5 ) ) : vec3( 0.0, 0.0, - 1.0 );
				vec3 worldUp = normalize( cross( worldDir, tmpFwd ) );
				vec3 worldFwd = cross( worldDir, worldUp );
				worldPos = position.y < 0.5 ? start: end;

				// height offset
				float hw = linewidth * 0.5;
				worldPos.xyz += position.x < 0.0 ? hw * worldUp : - hw * worldUp;

				// don't extend the line if we're rendering dashes because we
				// won't be rendering the endcaps
				#ifndef USE_DASH

					// cap extension
					worldPos.xyz += position.y < 0.5 ? - hw * worldDir : hw * worldDir;

					// add width to the box
					worldPos.xyz += worldFwd * hw;

					// endcaps
					if ( position.y > 1.0 || position.y < 0.0 ) {

						worldPos.xyz -= worldFwd * 2.0 * hw;

					}

				#endif

				// project the worldpos
				vec4 clip = projectionMatrix * worldPos;

				// shift the depth of the projected points so the line
				// segments overlap neatly
				vec3 clipPose = ( position.y < 0.5 ) ? ndcStart : ndcEnd;

				// only shift the depth of vertices in front of the camera (#35137)
				if ( clip.w > 0.0 ) clip.z = clipPose.z * clip.w;

			#else

				vec2 offset = vec2( dir.y, - dir.x );
				// undo aspect ratio adjustment
				dir.x /= aspect;
				offset.x /= aspect;

				// sign flip
				if ( position.x < 0.0 ) offset *= - 1.0;

				// endcaps
				if ( position.y < 0.0 ) {

					offset += - dir;

				} else if ( position.y > 1.0 ) {

					offset += dir;

				}

				// adjust for linewidth
				offset *= linewidth;

				// adjust for clip-space to screen-space conversion // maybe resolution should be based on viewport ...
				offset /= resolution.y;

				// select end
				vec4 clip = ( position.y < 0.5 ) ? clipStart : clipEnd;

				// back to clip space
				offset *= clip.w;

				clip.xy += offset;

			#endif

			gl_Position = clip;

			vec4 mvPosition = ( position.y < 0.5 ) ? start : end; // this is an approximation

			#include <logdepthbuf_vertex>
			#include <clipping_planes_vertex>
			#include <fog_vertex>

		}
		`,fragmentShader:`
		uniform vec3 diffuse;
		uniform float opacity;
		uniform float linewidth;

		#ifdef USE_DASH

			uniform float dashOffset;
			uniform float dashSize;
			uniform float gapSize;

		#endif

		varying float vLineDistance;

		#ifdef WORLD_UNITS

			varying vec4 worldPos;
			varying vec3 worldStart;
			varying vec3 worldEnd;

			#ifdef USE_DASH

				varying vec2 vUv;

			#endif

		#else

			varying vec2 vUv;

		#endif

		#include <common>
		#include <color_pars_fragment>
		#include <fog_pars_fragment>
		#include <logdepthbuf_pars_fragment>
		#include <clipping_planes_pars_fragment>

		vec2 closestLineToLine(vec3 p1, vec3 p2, vec3 p3, vec3 p4) {

			float mua;
			float mub;

			vec3 p13 = p1 - p3;
			vec3 p43 = p4 - p3;

			vec3 p21 = p2 - p1;

			float d1343 = dot( p13, p43 );
			float d4321 = dot( p43, p21 );
			float d1321 = dot( p13, p21 );
			float d4343 = dot( p43, p43 );
			float d2121 = dot( p21, p21 );

			float denom = d2121 * d4343 - d4321 * d4321;

			float numer = d1343 * d4321 - d1321 * d4343;

			mua = numer / denom;
			mua = clamp( mua, 0.0, 1.0 );
			mub = ( d1343 + d4321 * ( mua ) ) / d4343;
			mub = clamp( mub, 0.0, 1.0 );

			return vec2( mua, mub );

		}

		void main() {

			float alpha = opacity;
			vec4 diffuseColor = vec4( diffuse, alpha );

			#include <clipping_planes_fragment>

			#ifdef USE_DASH

				if ( vUv.y < - 1.0 || vUv.y > 1.0 ) discard; // discard endcaps

				if ( mod( vLineDistance + dashOffset, dashSize + gapSize ) > dashSize ) discard; // todo - FIX

			#endif

			#ifdef WORLD_UNITS

				float len;

				if ( isOrthographic ) {

					// View rays are parallel to the z axis so the distance reduces to camera-space XY
					vec2 lineDir = worldEnd.xy - worldStart.xy;
					float t = clamp( dot( worldPos.xy - worldStart.xy, lineDir ) / dot( lineDir, lineDir ), 0.0, 1.0 );
					len = length( worldStart.xy + lineDir * t - worldPos.xy );

				} else {

					// Find the closest points on the view ray and the line segment
					vec3 rayEnd = normalize( worldPos.xyz ) * 1e5;
					vec3 lineDir = worldEnd - worldStart;
					vec2 params = closestLineToLine( worldStart, worldEnd, vec3( 0.0, 0.0, 0.0 ), rayEnd );

					vec3 p1 = worldStart + lineDir * params.x;
					vec3 p2 = rayEnd * params.y;
					vec3 delta = p1 - p2;
					len = length( delta );

				}

				float norm = len / linewidth;

				#ifndef USE_DASH

					#ifdef USE_ALPHA_TO_COVERAGE

						float dnorm = fwidth( norm );
						alpha = 1.0 - smoothstep( 0.5 - dnorm, 0.5 + dnorm, norm );

					#else

						if ( norm > 0.5 ) {

							discard;

						}

					#endif

				#endif

			#else

				#ifdef USE_ALPHA_TO_COVERAGE

					// artifacts appear on some hardware if a derivative is taken within a conditional
					float a = vUv.x;
					float b = ( vUv.y > 0.0 ) ? vUv.y - 1.0 : vUv.y + 1.0;
					float len2 = a * a + b * b;
					float dlen = fwidth( len2 );

					if ( abs( vUv.y ) > 1.0 ) {

						alpha = 1.0 - smoothstep( 1.0 - dlen, 1.0 + dlen, len2 );

					}

				#else

					if ( abs( vUv.y ) > 1.0 ) {

						float a = vUv.x;
						float b = ( vUv.y > 0.0 ) ? vUv.y - 1.0 : vUv.y + 1.0;
						float len2 = a * a + b * b;

						if ( len2 > 1.0 ) discard;

					}

				#endif

			#endif

			#include <logdepthbuf_fragment>
			#include <color_fragment>

			gl_FragColor = vec4( diffuseColor.rgb, alpha );

			#include <tonemapping_fragment>
			#include <colorspace_fragment>
			#include <fog_fragment>
			#include <premultiplied_alpha_fragment>

		}
		`};var Co=class extends Zn{constructor(e){super({type:"LineMaterial",uniforms:qa.clone(Jn.line.uniforms),vertexShader:Jn.line.vertexShader,fragmentShader:Jn.line.fragmentShader,clipping:!0}),this.isLineMaterial=!0,this.setValues(e)}get color(){return this.uniforms.diffuse.value}set color(e){this.uniforms.diffuse.value=e}get worldUnits(){return"WORLD_UNITS"in this.defines}set worldUnits(e){e===!0!==this.worldUnits&&(this.needsUpdate=!0),e===!0?this.defines.WORLD_UNITS="":delete this.defines.WORLD_UNITS}get linewidth(){return this.uniforms.linewidth.value}set linewidth(e){this.uniforms.linewidth&&(this.uniforms.linewidth.value=e)}get dashed(){return"USE_DASH"in this.defines}set dashed(e){e===!0!==this.dashed&&(this.needsUpdate=!0),e===!0?this.defines.USE_DASH="":delete this.defines.USE_DASH}get dashScale(){return this.uniforms.dashScale.value}set dashScale(e){this.uniforms.dashScale.value=e}get dashSize(){return this.uniforms.dashSize.value}set dashSize(e){this.uniforms.dashSize.value=e}get dashOffset(){return this.uniforms.dashOffset.value}set dashOffset(e){this.uniforms.dashOffset.value=e}get gapSize(){return this.uniforms.gapSize.value}set gapSize(e){this.uniforms.gapSize.value=e}get opacity(){return this.uniforms.opacity.value}set opacity(e){this.uniforms&&(this.uniforms.opacity.value=e)}get resolution(){return this.uniforms.resolution.value}set resolution(e){this.uniforms.resolution.value.copy(e)}get alphaToCoverage(){return"USE_ALPHA_TO_COVERAGE"in this.defines}set alphaToCoverage(e){this.defines&&(e===!0!==this.alphaToCoverage&&(this.needsUpdate=!0),e===!0?this.defines.USE_ALPHA_TO_COVERAGE="":delete this.defines.USE_ALPHA_TO_COVERAGE)}};var q_=new Ln,Jh=new U,Ro=class extends Ua{constructor(){super(),this.isLineSegmentsGeometry=!0,this.type="LineSegmentsGeometry";let e=[-1,2,0,1,2,0,-1,1,0,1,1,0,-1,0,0,1,0,0,-1,-1,0,1,-1,0],t=[-1,2,1,2,-1,1,1,1,-1,-1,1,-1,-1,-2,1,-2],n=[0,2,1,2,3,1,2,4,3,4,5,3,4,6,5,6,7,5];this.setIndex(n),this.setAttribute("position",new mt(e,3)),this.setAttribute("uv",new mt(t,2))}applyMatrix4(e){let t=this.attributes.instanceStart,n=this.attributes.instanceEnd;return t!==void 0&&(t.applyMatrix4(e),n.applyMatrix4(e),t.needsUpdate=!0),this.boundingBox!==null&&this.computeBoundingBox(),this.boundingSphere!==null&&this.computeBoundingSphere(),this}setPositions(e){let t;e instanceof Float32Array?t=e:Array.isArray(e)&&(t=new Float32Array(e));let n=new Xs(t,6,1);return this.setAttribute("instanceStart",new Li(n,3,0)),this.setAttribute("instanceEnd",new Li(n,3,3)),this.instanceCount=this.attributes.instanceStart.count,this.computeBoundingBox(),this.computeBoundingSphere(),this}setColors(e){let t;e instanceof Float32Array?t=e:Array.isArray(e)&&(t=new Float32Array(e));let n=new Xs(t,6,1);return this.setAttribute("instanceColorStart",new Li(n,3,0)),this.setAttribute("instanceColorEnd",new Li(n,3,3)),this}fromWireframeGeometry(e){return this.setPositions(e.attributes.position.array),this}fromEdgesGeometry(e){return this.setPositions(e.attributes.position.array),this}fromMesh(e){return this.fromWireframeGeometry(new Ca(e.geometry)),this}fromLineSegments(e){let t=e.geometry;return this.setPositions(t.attributes.position.array),this}computeBoundingBox(){this.boundingBox===null&&(this.boundingBox=new Ln);let e=this.attributes.instanceStart,t=this.attributes.instanceEnd;e!==void 0&&t!==void 0&&(this.boundingBox.setFromBufferAttribute(e),q_.setFromBufferAttribute(t),this.boundingBox.union(q_))}computeBoundingSphere(){this.boundingSphere===null&&(this.boundingSphere=new Ii),this.boundingBox===null&&this.computeBoundingBox();let e=this.attributes.instanceStart,t=this.attributes.instanceEnd;if(e!==void 0&&t!==void 0){let n=this.boundingSphere.center;this.boundingBox.getCenter(n);let s=0;for(let r=0,o=e.count;r<o;r++)Jh.fromBufferAttribute(e,r),s=Math.max(s,n.distanceToSquared(Jh)),Jh.fromBufferAttribute(t,r),s=Math.max(s,n.distanceToSquared(Jh));this.boundingSphere.radius=Math.sqrt(s),isNaN(this.boundingSphere.radius)&&console.error("THREE.LineSegmentsGeometry.computeBoundingSphere(): Computed radius is NaN. The instanced position data is likely to have NaN values.",this)}}toJSON(){}};var Yf=new Et,Y_=new U,$_=new U,Dn=new Et,Nn=new Et,Qi=new Et,$f=new U,Zf=new Dt,Un=new Fa,Z_=new U,Kh=new Ln,jh=new Ii,es=new Et,ts,xr;function J_(i,e,t){return es.set(0,0,-e,1).applyMatrix4(i.projectionMatrix),es.multiplyScalar(1/es.w),es.x=xr/t.width,es.y=xr/t.height,es.applyMatrix4(i.projectionMatrixInverse),es.multiplyScalar(1/es.w),Math.abs(Math.max(es.x,es.y))}function zA(i,e){let t=i.matrixWorld,n=i.geometry,s=n.attributes.instanceStart,r=n.attributes.instanceEnd,o=Math.min(n.instanceCount,s.count);for(let a=0,c=o;a<c;a++){Un.start.fromBufferAttribute(s,a),Un.end.fromBufferAttribute(r,a),Un.applyMatrix4(t);let l=new U,u=new U;ts.distanceSqToSegment(Un.start,Un.end,u,l),u.distanceTo(l)<xr*.5&&e.push({point:u,pointOnLine:l,distance:ts.origin.distanceTo(u),object:i,face:null,faceIndex:a,uv:null,uv1:null})}}function VA(i,e,t){let n=e.projectionMatrix,r=i.material.resolution,o=i.matrixWorld,a=i.geometry,c=a.attributes.instanceStart,l=a.attributes.instanceEnd,u=Math.min(a.instanceCount,c.count),h=-e.near;ts.at(1,Qi),Qi.w=1,Qi.applyMatrix4(e.matrixWorldInverse),Qi.applyMatrix4(n),Qi.multiplyScalar(1/Qi.w),Qi.x*=r.x/2,Qi.y*=r.y/2,Qi.z=0,$f.copy(Qi),Zf.multiplyMatrices(e.matrixWorldInverse,o);for(let d=0,f=u;d<f;d++){if(Dn.fromBufferAttribute(c,d),Nn.fromBufferAttribute(l,d),Dn.w=1,Nn.w=1,Dn.applyMatrix4(Zf),Nn.applyMatrix4(Zf),Dn.z>h&&Nn.z>h)continue;if(Dn.z>h){let T=Dn.z-Nn.z,S=(Dn.z-h)/T;Dn.lerp(Nn,S)}else if(Nn.z>h){let T=Nn.z-Dn.z,S=(Nn.z-h)/T;Nn.lerp(Dn,S)}Dn.applyMatrix4(n),Nn.applyMatrix4(n),Dn.multiplyScalar(1/Dn.w),Nn.multiplyScalar(1/Nn.w),Dn.x*=r.x/2,Dn.y*=r.y/2,Nn.x*=r.x/2,Nn.y*=r.y/2,Un.start.copy(Dn),Un.start.z=0,Un.end.copy(Nn),Un.end.z=0;let y=Un.closestPointToPointParameter($f,!0);Un.at(y,Z_);let m=Mf.lerp(Dn.z,Nn.z,y),p=m>=-1&&m<=1,v=$f.distanceTo(Z_)<xr*.5;if(p&&v){Un.start.fromBufferAttribute(c,d),Un.end.fromBufferAttribute(l,d),Un.start.applyMatrix4(o),Un.end.applyMatrix4(o);let T=new U,S=new U;ts.distanceSqToSegment(Un.start,Un.end,S,T),t.push({point:S,pointOnLine:T,distance:ts.origin.distanceTo(S),object:i,face:null,faceIndex:d,uv:null,uv1:null})}}}var Qh=class extends en{constructor(e=new Ro,t=new Co({color:Math.random()*16777215})){super(e,t),this.isLineSegments2=!0,this.type="LineSegments2"}computeLineDistances(){let e=this.geometry,t=e.attributes.instanceStart,n=e.attributes.instanceEnd,s=new Float32Array(2*t.count);for(let o=0,a=0,c=t.count;o<c;o++,a+=2)Y_.fromBufferAttribute(t,o),$_.fromBufferAttribute(n,o),s[a]=a===0?0:s[a-1],s[a+1]=s[a]+Y_.distanceTo($_);let r=new Xs(s,2,1);return e.setAttribute("instanceDistanceStart",new Li(r,1,0)),e.setAttribute("instanceDistanceEnd",new Li(r,1,1)),this}raycast(e,t){let n=this.material.worldUnits,s=e.camera;if(s===null&&!n&&console.error('LineSegments2: "Raycaster.camera" needs to be set in order to raycast against LineSegments2 while worldUnits is set to false.'),n===!1&&(this.material.resolution.x===0||this.material.resolution.y===0))return;let r=e.params.Line2!==void 0&&e.params.Line2.threshold||0;ts=e.ray;let o=this.matrixWorld,a=this.geometry,c=this.material;xr=c.linewidth+r,a.boundingSphere===null&&a.computeBoundingSphere(),jh.copy(a.boundingSphere).applyMatrix4(o);let l;if(n)l=xr*.5;else{let h=Math.max(s.near,jh.distanceToPoint(ts.origin));l=J_(s,h,c.resolution)}if(jh.radius+=l,ts.intersectsSphere(jh)===!1)return;a.boundingBox===null&&a.computeBoundingBox(),Kh.copy(a.boundingBox).applyMatrix4(o);let u;if(n)u=xr*.5;else{let h=Math.max(s.near,Kh.distanceToPoint(ts.origin));u=J_(s,h,c.resolution)}Kh.expandByScalar(u),ts.intersectsBox(Kh)!==!1&&(n?zA(this,t):VA(this,s,t))}onBeforeRender(e){let t=this.material.uniforms;t&&t.resolution&&(e.getViewport(Yf),this.material.uniforms.resolution.value.set(Yf.z,Yf.w))}};var GA=2.5,eu=5e-4,Po=14,nu=class{constructor(e,t){this.source=e;this.root=new _n;this.outlines=[];this.shown=!0;this.inFull=!1;this.ghosts=new Map;this.least=0;this.pen=new Co({color:t,linewidth:2.4,dashed:!0,depthTest:!1,transparent:!0})}pose(e,t){for(let a of this.ghosts.values())a.visible=!1;if(this.outlines=[],!this.shown)return;this.pen.dashSize=7*t,this.pen.gapSize=4*t,this.least=this.inFull?-1:GA*t;let n=this.source.beliefsAt(e),s=this.source.positionAt(e),r=this.source.bodiesAt(e,s),o=this.base(n);this.tip(this.source.offAt(e),r,n,o);for(let a of r.values()){let c=this.source.geometryOf(a);c.kind==="pad"&&this.pad(e,a,c,r,n)}this.workZero(r,n,s,o)}base(e){let t=this.source.facts.length_convention;if(t==="face")return 0;let n=e["selected setter"]??Object.keys(this.source.facts.setters)[0],s=a=>e[`setter ${n} ${a}`];if(t==="difference")return ns(s("master_length_mm"))?-s("master_length_mm"):null;let[r,o]=[s("reference_z_mm"),s("height_mm")];return ns(r)&&ns(o)?r-o:null}tip(e,t,n,s){let r=this.first(t,"tool");if(!r||s===null)return;let o=this.source.geometryOf(r),a=n["active length row"]||n["loaded slot"],c=a?n[`row ${a} length`]:void 0,l=ns(c)?c+(n[`row ${a} wear`]??0)-s:null,u=-j_(o),h=this.source.links[r.link],d=[h[0]*e[0],h[1]*e[1],h[2]*e[2]];if(l!==null&&(d[2]+=u-l),Math.hypot(...d)<(l===null?Math.max(this.least,eu):this.least))return;let f=l===null?"the tool should be here":`tip taken to be here${this.apart(d)}`;this.show(`tool ${r.geometry}`,o,ja(r.position,d),0,f,-u)}pad(e,t,n,s,r){let o=t.id.replace(/\.pad$/,""),a=p=>r[`setter ${o} ${p}`],c=this.source.facts.setters[o]?.pre_travel_mm,l=s.get(o),u=[0,0,0],h=ns(a("x_mm"))&&ns(a("y_mm"));if(h){let p=this.onTable([a("x_mm"),a("y_mm"),0],t,s);[u[0],u[1]]=[p[0]-t.offset[0],p[1]-t.offset[1]]}let d=tu(n),f=ns(c)?t.offset[2]+d-c:null,g=ns(a("reference_z_mm"))&&f!==null;if(g&&(u[2]=this.onTable([0,0,a("reference_z_mm")],t,s)[2]-f),l&&f!==null&&ns(a("height_mm"))){let p=this.source.geometryOf(l),v=a("height_mm")-(f-(l.offset[2]+j_(p)));this.foot(l,p,[u[0],u[1],v])}if(Math.hypot(...u)<this.least||this.inFull&&!h&&!g)return;let m=`${this.inFull&&this.source.padDepthAt(o,e)>eu?"free pad taken":"pad taken"} to be here${this.inFull?this.apart(u):""}`;this.show(`${t.id} ${t.geometry}`,n,ja(t.position,u),t.turn_deg,m,d)}foot(e,t,n){if(!this.inFull&&Math.abs(n[2])<this.least)return;let s=`setter taken to be so high${this.apart([0,0,n[2]])}`;this.show(`${e.id} ${e.geometry}`,t,ja(e.position,n),e.turn_deg,s,tu(t)/2)}workZero(e,t,n,s){let r=t["active system"]??"G54",o=t[`${r} z`];if(!ns(o)||o===0||s===null)return;let a=o+(t["shift z"]??0)+s,c=this.first(e,"stock"),l=c??this.first(e,"table");if(!l)return;let[u,h]=[t[`${r} x`]??0,t[`${r} y`]??0],d=this.onTable([u,h,a],l,e);if(c){let g=this.source.geometryOf(c),y=d[2]-(c.offset[2]+tu(g));if(Math.abs(y)>=this.least){let m=`${r} takes the top to be here${this.inFull?this.apart([0,0,y]):""}`;this.show(`${c.id} ${c.geometry}`,g,ja(c.position,[0,0,y]),c.turn_deg,m,tu(g))}}if(!this.inFull||u===0&&h===0)return;let f=this.source.links[l.link];this.cross(ja(d,[f[0]*n[0],f[1]*n[1],f[2]*n[2]]),`zero of ${r}`)}onTable(e,t,n){let s=this.first(n,"spindle"),r=s?this.source.links[s.link]:[0,0,1],o=this.source.links[t.link];return e.map((a,c)=>(s?r[c]-o[c]:1)*a)}first(e,t){return[...e.values()].find(n=>this.source.geometryOf(n).kind===t)}apart(e){let t=Math.hypot(e[0],e[1]),n=[];return this.inFull&&t>=eu&&n.push(`${Dr(t)} beside`),Math.abs(e[2])>=eu&&n.push(`${Dr(Math.abs(e[2]))} ${e[2]>0?"higher":"lower"}`),n.length>0?`, ${n.join(", ")}`:this.inFull?", and it is":""}cross(e,t){let n=[-Po,0,0,Po,0,0,0,-Po,0,0,Po,0,0,0,-Po,0,0,Po];this.ghostOf("zero",r=>this.draw(r,new Float32Array(n))).position.set(...e),this.outlines.push({label:t,point:new U(...e)})}show(e,t,n,s,r,o){let a=this.ghostOf(e,c=>{for(let l of t.parts)qh(this.draw(c,V_(l,Ka(l))),l)});a.position.set(...n),a.rotation.set(0,0,s*Math.PI/180),this.outlines.push({label:r,point:new U(n[0],n[1],n[2]+o)})}ghostOf(e,t){let n=this.ghosts.get(e);return n||(n=new _n,t(n),this.ghosts.set(e,n),this.root.add(n)),n.visible=!0,n}draw(e,t){let n=new Ro;n.setPositions(t);let s=new Qh(n,this.pen);return s.computeLineDistances(),s.renderOrder=20,e.add(s),s}};function ns(i){return typeof i=="number"}function ja(i,e){return[i[0]+e[0],i[1]+e[1],i[2]+e[2]]}function HA(i){let[e,t]=[1/0,-1/0];for(let n of i.parts){let s=Ka(n),r=new _n;qh(r,n),r.updateMatrix(),s.applyMatrix4(r.matrix).computeBoundingBox(),e=Math.min(e,s.boundingBox.min.z),t=Math.max(t,s.boundingBox.max.z)}return[e,t]}var K_=new WeakMap;function Q_(i){let e=K_.get(i);return e||K_.set(i,e=HA(i)),e}function j_(i){return Q_(i)[0]}function tu(i){return Q_(i)[1]}var WA=["face","lug","tip","edge","cutting","holder","pad","bolt","block","stock","setter","fixture"],XA=7,Jf=12,iu=class{constructor(e){this.host=e;this.chips=[];this.svg=document.createElementNS("http://www.w3.org/2000/svg","svg");this.shown=!0;this.drawn="";this.svg.setAttribute("class","leaders"),e.append(this.svg)}draw(e,t,n,s,r,o,a,c){let l=[],u=(h,d,f)=>{let g=d.clone().project(r),[y,m]=[(g.x+1)/2*o,(1-g.y)/2*a];return g.z<1&&y>8&&y<o-8&&m>30&&m<a-12&&l.length<XA&&!(y<c.left&&m>a-c.bottom)?(l.push({text:h,x:y,y:m,belief:f}),!0):!1};if(this.shown){for(let h of s)u(h.label,h.point,!0);for(let h of n)u(h.label,h.point,!1);for(let h of WA){let d=e.filter(g=>g.look===h);if(d.length===0)continue;let f=r.position;for(let g of d.sort((y,m)=>Kf(y.box,f)-Kf(m.box,f)))if(!(g.box.getSize(new U).length()/Kf(g.box,f)<.012)&&u(t[h],qA(g,f),!1))break}}this.lay(l,o,a,c)}lay(e,t,n,s){let r=[...e].sort((u,h)=>u.x-h.x),o=Math.ceil(r.length/2),a=[],c=0;[r.slice(0,o),r.slice(o)].forEach((u,h)=>{u.sort((p,v)=>p.y-v.y);let d=u.map(p=>{let v=this.chip(c++);return v.textContent!==p.text&&(v.textContent=p.text),v.className=p.belief?"chip belief":"chip",{label:p,chip:v,w:v.offsetWidth,h:v.offsetHeight,top:0}}),f=s.top;for(let p of d)p.top=Math.max(p.label.y-p.h/2,f),f=p.top+p.h+8;let g=Math.max(0,...d.map(p=>p.w)),y=h===1&&t-g-Jf>s.left,m=n-(y?44:s.bottom);for(let p of[...d].reverse()){p.top=Math.min(p.top,m-p.h),m=p.top-8;let v=h===0?Jf:t-Jf-p.w;p.chip.style.transform=`translate(${Math.round(v)}px, ${Math.round(p.top)}px)`;let T=h===0?v+p.w:v,S=p.top+p.h/2,C=p.label.belief?"belief":"plain",E=`M${T.toFixed(1)} ${S.toFixed(1)}L${p.label.x.toFixed(1)} ${p.label.y.toFixed(1)}`;a.push(`<path class="under" d="${E}"/><path class="${C}" d="${E}"/><circle class="${C}" cx="${p.label.x.toFixed(1)}" cy="${p.label.y.toFixed(1)}" r="4.5"/>`)}});for(let u=c;u<this.chips.length;u+=1)this.chips[u].className="chip none";let l=a.join("");l!==this.drawn&&(this.svg.innerHTML=this.drawn=l)}chip(e){for(;this.chips.length<=e;){let t=document.createElement("div");this.host.append(t),this.chips.push(t)}return this.chips[e]}};function Kf(i,e){return i.getCenter(new U).distanceTo(e)}function qA(i,e){let t=i.box,n=t.getCenter(new U),s=new U(e.x-n.x,e.y-n.y,0).normalize(),r=t.max.z-t.min.z,a=i.kind==="spindle"||i.kind==="tool"?t.min.z+Math.min(.25*r,12):t.max.z-Math.min(.4*r,12);return new U(n.x+s.x*(t.max.x-t.min.x)*.46,n.y+s.y*(t.max.y-t.min.y)*.46,a)}var YA=1.15;function $A(){let i=document.createElement("canvas").getContext("webgl"),e=i?.getExtension("WEBGL_debug_renderer_info"),t=i&&e?String(i.getParameter(e.UNMASKED_RENDERER_WEBGL)):"";return i?.getExtension("WEBGL_lose_context")?.loseContext(),/swiftshader|llvmpipe|softpipe|software|basic render/i.test(t)}var su=class{constructor(e,t,n){this.host=e;this.frames=0;this.world=new pa;this.slow=$A();this.dirty=!0;this.size=[1,1];this.free=null;this.floor=null;this.renderer=new zh({antialias:!this.slow,powerPreference:"high-performance"}),this.renderer.localClippingEnabled=!0,this.renderer.setPixelRatio(this.slow?1:Math.min(window.devicePixelRatio,2)),e.prepend(this.renderer.domElement),this.renderer.domElement.setAttribute("aria-hidden","true"),this.world.background=new je(n.background_low),this.eye=new Yh(n.view_angle_deg),this.stage=new Wh(t,n),this.belief=new nu(t,n.belief),this.labels=new iu(e),this.world.add(this.stage.root,this.belief.root,this.eye.camera),this.light(),this.hands(),new ResizeObserver(()=>this.resize()).observe(e),this.resize()}light(){this.world.add(new Ia("#ffffff","#c4ccd4",1.9));for(let[e,t,n,s]of[[-.8,1.1,.9,1.25],[1,.5,.7,.5]]){let r=new Na("#ffffff",s);r.position.set(e,t,n),this.eye.camera.add(r,r.target)}}resize(){let[e,t]=[this.host.clientWidth,this.host.clientHeight];e<2||t<2||(this.size=[e,t],this.renderer.setSize(e,t),this.eye.camera.aspect=e/t,this.stage.size.value.set(e,t),this.belief.pen.resolution.set(e,t),this.dirty=!0)}touch(){this.dirty=!0}get mmPerPixel(){let[e,t]=this.size;return 2*(this.eye.now?.half??100)*Math.max(1,YA/(e/t))/t}ground(){if(this.floor)return;let e=this.stage.solids.filter(t=>t.kind==="machine"||t.kind==="table");e.length!==0&&(this.floor=new Oa(4e3,40,"#aab6c2","#c3ccd6"),this.floor.rotateX(Math.PI/2),this.floor.position.set(0,0,Math.min(...e.map(t=>t.box.min.z))),this.world.add(this.floor))}cut(e){let t=$h(this.stage.solids),n=this.eye.camera.position.clone().sub(t);this.stage.cut(e?[t.x,t.y,t.z]:null,[n.x,n.y])}padInBore(){let e=this.stage.solids;return e.some(t=>t.look==="face"&&e.some(n=>{if(n.kind!=="pad")return!1;let[s,r]=[t.box.getCenter(new U),n.box.getCenter(new U)],o=Math.max(n.box.max.x-n.box.min.x,n.box.max.y-n.box.min.y)/2;return Math.hypot(s.x-r.x,s.y-r.y)+o<=t.bore&&n.box.max.z>t.box.min.z+.001}))}setCamera(e){this.eye.name=e,this.dirty=!0}grab(e,t,n,s=0,r=0){let o=this.eye.name==="free"&&this.free?this.free:this.eye.now;if(!o)return;let a=o.azimuth*Math.PI/180,c=o.focus.clone().add(new U(Math.cos(a)*s,Math.sin(a)*s,r));this.free={focus:c,half:Math.min(Math.max(o.half*n,.5),3e3),azimuth:o.azimuth+e,elevation:Math.min(Math.max(o.elevation+t,-85),88)},this.setCamera("free")}hands(){let e=this.renderer.domElement;e.addEventListener("pointerdown",t=>e.setPointerCapture(t.pointerId)),e.addEventListener("pointermove",t=>{if(!(!e.hasPointerCapture(t.pointerId)||t.buttons===0))if(t.buttons===1&&!t.shiftKey)this.grab(-t.movementX*.4,t.movementY*.4,1);else{let n=2*(this.eye.now?.half??100)/this.size[1];this.grab(0,0,1,-t.movementX*n,t.movementY*n)}}),e.addEventListener("contextmenu",t=>t.preventDefault()),e.addEventListener("wheel",t=>{t.preventDefault(),this.grab(0,0,Math.exp(Math.sign(t.deltaY)*.12))},{passive:!1})}};var ru={radius:8,length:60},ou=class{constructor(e,t){this.replay=e;this.root=new _n;this.labels=[];let n=new en(new Sa(ru.radius,ru.length,8,24),new Di({color:t}));n.rotation.x=Math.PI/2,n.position.z=ru.radius+ru.length/2,this.root.add(n),this.root.rotation.set(0,.95,0),this.root.visible=!1}whereAt(e){let t="";for(let[n,s,r]of this.replay.data.events){if(n>e)break;s==="hand"&&(t=typeof r=="string"?r:"")}return t}pose(e,t){let n=this.whereAt(e),s=n?jf(n,t):null;if(this.root.visible=s!==null,this.labels=[],!s)return;let r=s.box.getCenter(new U);this.root.position.set(r.x,r.y,s.box.max.z),this.labels.push({label:`a hand, ${n}`,point:new U(r.x+30,r.y,s.box.max.z+22)})}};function jf(i,e){let n=[["pad","pad"],["setter","pad"],["block","block"],["stock","stock"],["vise","fixture"]].find(([s])=>i.includes(s))?.[1];return e.find(s=>s.kind===n)??e.find(s=>s.kind==="pad")??null}var au=17,Qf=74,ZA=2.2,JA="#e3b23c",ex="#3d4854",lu=class{constructor(e){this.replay=e;this.root=new _n;this.labels=[];this.panel=[];this.sockets=new Map;this.cables=new Map}showSockets(e){for(let t of this.panel)t.visible=e}pose(e,t){let n=Object.keys(this.replay.entry.facts.sockets),s=t.filter(a=>a.kind==="setter");this.labels=[];for(let{mesh:a}of this.cables.values())a.visible=!1;if(n.length===0||s.length===0)return;this.sockets.size===0&&this.build(n,t);let r=this.replay.plugsAt(e),o=this.replay.beliefsAt(e);for(let a of n){let c=this.replay.entry.facts.sockets[a],l=this.sockets.get(a),u=this.replay.signalAt(`input ${c}.raw`,e)===1;l.lamp.color.set(u?JA:ex);let h=Object.keys(r).some(f=>o[`setter ${f} input`]===c),d=Object.values(r).includes(a);(h||d)&&this.labels.push({label:`input ${c}: ${u?"on":"off"}${h?", watched":", not watched"}`,point:l.at})}for(let a of new Set(s.map(c=>c.body)))this.cable(a,s.filter(c=>c.body===a),r[a]??null,t)}build(e,t){let n=t.find(a=>a.kind==="machine"),s=t.find(a=>a.kind==="table"),r=(e.length-1)*Qf,o=new U(-r/2,460,0);n&&o.set(n.box.min.x+Qf,n.box.min.y-6,(s?.box.max.z??-540)+150),e.forEach((a,c)=>{let l=o.clone().add(new U(c*Qf,0,0)),u=new en(new xo(au+7,au+7,8,32),new Di({color:"#aab4be"})),h=new Di({color:ex}),d=new en(new xo(au,au,14,32),h);u.position.copy(l),d.position.copy(l),this.root.add(u,d),this.panel.push(u,d),this.sockets.set(a,{lamp:h,at:l})})}cable(e,t,n,s){let r=t[0].box,o=s.find(y=>y.kind==="table")?.box,a=new U((r.min.x+r.max.x)/2,r.max.y,r.min.z+14),c=new U(a.x,Math.max(o?.max.y??0,a.y+40)-12,a.z-8),l=n?this.sockets.get(n):void 0,u=[a,a.clone().add(new U(0,25,-6)),c];if(l){let y=Math.min(c.z,l.at.z)-60;u.push(new U(c.x+(l.at.x-c.x)*.35,c.y+40,y)),u.push(l.at.clone().add(new U(0,-60,-20)),l.at.clone().add(new U(0,-8,0)))}else u.push(c.clone().add(new U(30,40,-60)));let h=u.map(y=>`${y.x.toFixed(1)} ${y.y.toFixed(1)}`).join()+n,d=this.cables.get(e);if(d&&(d.mesh.visible=!0),d?.key===h)return;let f=new Ta(new yo(u,!1,"centripetal"),40,ZA,7);if(d){d.mesh.geometry.dispose(),d.mesh.geometry=f,d.key=h;return}let g=new en(f,new Di({color:"#5b6875"}));this.root.add(g),this.cables.set(e,{mesh:g,key:h})}};var ep=1.1,KA=.9,jA=.7,QA=150,eE=["hand-in-reach","setter-moved","stale-reference","wrong-number"],tx=60,tE=.005,nE=["pad","block","stock"],iE=250,cu=class extends su{constructor(t,n,s){super(s,t.replays[n],t.page.look);this.player=t;this.index=n;this.cutOpen=null;this.room={top:56,bottom:12,left:0};this.aside=[0,0];this.restsAt=0;let r=t.replays[n];this.wiring=new lu(r),this.hand=new ou(r,t.page.look.materials.hand.colour),this.bar=document.createElement("div"),this.bar.className="scalebar",s.append(this.bar),this.world.add(this.wiring.root,this.hand.root)}draw(t){if(!this.dirty&&!this.player.playing){this.rest();return}this.slow&&this.renderer.getPixelRatio()!==1&&this.renderer.setPixelRatio(1),this.restsAt=performance.now()+iE;let n=this.player.timeOf(this.index);this.stage.pose(n),this.wiring.pose(n,this.stage.solids),this.hand.pose(n,this.stage.solids);let{aim:s,name:r}=this.choose(n),o=this.eye.approach(s,t,this.aside),a=r==="whole"||(this.eye.now?.half??0)>380;this.stage.showMachine(a),this.wiring.showSockets(a),this.cut(this.cutOpen??this.hidden(n));let[c,l]=this.size,u=this.mmPerPixel;this.belief.pose(n,u),this.ground(),this.renderer.render(this.world,this.eye.camera);let h=u>.7,d=[...this.hand.labels,...h?this.wiring.labels:[]];this.labels.draw(this.stage.solids,this.names(n),d,this.belief.outlines,this.eye.camera,c,l,this.room),this.scale(u,c),this.frames+=1,this.dirty=o}rest(){!this.slow||this.restsAt===0||performance.now()<this.restsAt||(this.restsAt=0,this.renderer.setPixelRatio(2),this.renderer.render(this.world,this.eye.camera))}choose(t){let n=this.stage.solids,s=this.player.presses[this.index].find(c=>t>c.contact-ep&&t<Math.max(c.rest,c.end)+KA)??null;if(this.eye.name==="free"&&this.free)return{aim:this.free,name:"free"};let r=To(n)?.look==="lug",o=this.eye.name;if(o==="choose"){let c=this.player.replays[this.index].entry.findings.some(y=>Math.abs(y.t-t)<ep&&y.severity!=="risky"),l=To(n),u=Zh(n,l),h=l&&u?Math.abs(l.box.min.z-u.box.max.z):1/0,d=this.player.replays[this.index].lineAt(t),f=d&&["rapid","return","home"].includes(d.kind)&&d.t[1]-d.t[0]>jA&&t<d.t[1],g=s||h<tx?null:this.placeToSee(t);if(g)return{aim:this.eye.place(g),name:"pad"};s||c&&h<60?o="pad":t<=1e-9||f&&h>60?o="whole":h<40&&!f?o="pad":o="follow"}let a=this.eye.aim(o,n,s,r&&(s!==null||o==="nose"));return o==="follow"&&this.eye.name==="choose"&&(a.half=Math.max(a.half,QA)),{aim:a,name:o}}placeToSee(t){let{entry:n}=this.player.replays[this.index],s=this.stage.solids,r=this.hand.whereAt(t);return r?jf(r,s):n.findings.some(a=>eE.includes(a.code)&&Math.abs(a.t-t)<(a.t>0?ep:1e-9))?s.find(a=>a.kind==="pad")??null:null}names(t){let n=this.stage.solids,s={...this.player.page.look.labels},r=To(n),o=r?.look==="lug"&&n.find(h=>h.look==="face")||r,a=Zh(n,o);if(o&&a&&nE.includes(a.kind)&&sE(o,a)){let h=o.box.min.z-a.box.max.z;h>tE&&h<tx&&(s[o.look]+=`
${Dr(h,2)} above the ${a.kind}`)}let c=this.player.replays[this.index].beliefsAt(t),l=new Set(n.filter(h=>h.kind==="pad").map(h=>h.body.replace(/\.pad$/,""))),u=this.belief.outlines.some(h=>h.label.startsWith("pad"));for(let h of l){let d=c[`setter ${h} reference_valid`];l.size>1||typeof c[`setter ${h} reference_z_mm`]!="number"||(d===!1?s.pad+=`
reference flagged invalid`:d===!0&&u&&(s.pad+=`
reference flagged valid`))}return s}hidden(t){return this.player.replays[this.index].entry.findings.some(s=>s.code==="missed-edge"&&Math.abs(s.t-t)<1.5)||this.padInBore()}scale(t,n){let s=cs()?25.4:1,r=s;for(let c=-3;c<4;c+=1)for(let l of[1,2,5])l*10**c*s/t<=n*.2&&(r=l*10**c*s);let o=Math.max(0,-Math.floor(Math.log10(r/s)+1e-9));this.bar.style.width=`${r/t}px`;let a=cs()?`${(r/25.4).toFixed(o)} in`:Dr(r,o);this.bar.textContent!==a&&(this.bar.textContent=a)}grab(t,n,s,r=0,o=0){super.grab(t,n,s,r,o),this.player.changed()}};function sE(i,e){return i.box.min.x<e.box.max.x&&e.box.min.x<i.box.max.x&&i.box.min.y<e.box.max.y&&e.box.min.y<i.box.max.y}var rE=60,oE=2.2;function nx({desk:i}){let[,e]=Ru(s=>s+1,0);Pu(()=>{let s=0,r=0,o=i.player.listen(()=>{let a=performance.now();(!i.player.playing||a-s>rE)&&(s=a,clearTimeout(r),e(0))});return()=>{o(),clearTimeout(r)}},[]);let{player:t}=i,n=t.replays.length>1;return X("div",{class:n?"page pair":"page",children:[X(aE,{desk:i}),X("main",{class:n?"work two":"work",children:[t.replays.map((s,r)=>X(lE,{desk:i,index:r},r)),X("div",{class:"side",children:[X(Zp,{desk:i}),X(cE,{desk:i})]})]}),X(kg,{desk:i}),X("footer",{role:"note",children:t.page.caution}),X(hE,{desk:i}),i.help&&X(uE,{desk:i})]})}function aE({desk:i}){let{player:e}=i,n=e.hiddenFrom===1/0&&e.t>=Math.max(0,...i.told.map(r=>r.at))&&e.t>e.start&&(e.t>=e.end||i.told.length>0),s=e.page.entries.map((r,o)=>(e.page.entries.length>1?`${"AB"[o]}: `:"")+r.title).join("  |  ");return X("header",{children:[X("h1",{title:s,children:s}),n&&e.page.entries.map((r,o)=>{let a=e.page.look.verdicts[r.verdict]??e.page.look.verdicts[""];return X("span",{class:"verdict",style:{color:a.colour},children:[e.page.entries.length>1?`${"AB"[o]} `:"",X(Ls,{look:a,size:26})," ",a.word]},o)}),X("label",{class:"cameras",children:["View ",X("select",{value:i.views[0]?.eye.name??"choose",onChange:r=>i.setCamera(r.currentTarget.value),children:[Go.map(([r,o,a])=>X("option",{value:r,children:[o," (",a,")"]},r)),X("option",{value:"free",disabled:!0,children:"by hand"})]})]}),X("button",{onClick:()=>i.toggle("inch"),"aria-label":`Lengths are in ${i.inch?"inches":"millimetres"}; change`,children:i.inch?"inch":"mm"}),X("button",{"aria-expanded":i.help,onClick:()=>i.toggle("help"),children:"Keys"})]})}function lE({desk:i,index:e}){let t=Lr(null),n=Lr(null);zo(()=>{n.current=new cu(i.player,e,t.current),i.views[e]=n.current},[]);let{player:s}=i,r=s.replays[e],o=s.timeOf(e),a=s.pressNow(e),c=tm(r,o),l=Math.max(s.rateAt(s.t),1e-4),u=s.moments.filter(f=>f.t<=s.t+1e-9&&f.t>s.t-oE*l&&f.kind!=="step"&&(s.replays.length<2||f.text.startsWith("AB"[e]))),h=u[u.length-1],d=h&&h.kind!=="finding"&&!(h.t>s.hiddenFrom)?Pn(h.text.replace(/^[AB]: /,"")):"";return Pu(()=>{n.current&&(n.current.room={top:48,bottom:a?226:14,left:a?540:0},n.current.aside=a?s.replays.length>1?[0,.17]:[.16,.1]:[0,0],n.current.touch())}),X("section",{class:"picture","aria-label":s.replays.length>1?`Picture ${"AB"[e]}`:"Picture",children:[X("div",{class:"canvas",ref:t}),X("div",{class:"doing",children:[X("span",{class:"head-line",children:[s.replays.length>1&&X("b",{children:["AB"[e]," "]}),Pn(c.head)]}),c.code&&X("code",{children:c.code}),(d||c.note)&&X("span",{class:"caption",children:d||Pn(c.note)})]}),a&&X(Lg,{replay:r,press:a,t:o,known:s.hiddenFrom+s.shift(e)})]})}function cE({desk:i}){let e=Lr(null);return zo(()=>{i.plots=new Cl(i,e.current),i.plots.draw(0)},[]),X("section",{class:"signals","aria-label":"Signals",ref:e})}function hE({desk:i}){let{asked:e}=i.player,t=i.reading,n="";return e&&e.chosen<0?n=`Question: ${e.ask}`:e?n=`${e.chosen+1===e.answer?"Right.":"Not so."} ${e.because}`:typeof t=="object"&&!i.hidden(t)&&(n=`Finding: ${t.title}. ${t.sentences.map(s=>s[1]).join(" ")}`),X("div",{class:"visually-hidden","aria-live":"polite",children:Pn(n)})}function uE({desk:i}){return X("div",{class:"help",role:"dialog","aria-label":"Keys",children:X("div",{children:[X("h2",{children:"Keys"}),X("dl",{children:Jp.map(([e,t])=>X("div",{children:[X("dt",{children:X("kbd",{children:e})}),X("dd",{children:t})]},e))}),X("p",{children:"Drag turns the picture, Shift and drag moves it, the wheel zooms. A click in a plot goes to that time."}),X("p",{children:"Solid: where things are. Dashed: where the controller takes them to be, drawn when that differs enough to see."}),X("button",{autofocus:!0,onClick:()=>i.toggle("help"),children:"Close"})]})})}var dE=.05;function fE(){let i=JSON.parse(document.getElementById("data").textContent),e=new Il(i),t=new dl(e),n=document.getElementById("page");t.open(location.hash);try{Up(X(nx,{desk:t}),n)}catch(c){n.innerHTML="",n.append(`This page needs WebGL to draw, and this browser gives none (${String(c)}). Switch on graphics acceleration, or open the page in another browser.`);return}Kp(t),window.addEventListener("hashchange",()=>t.open(location.hash));let s=performance.now(),r=s,o=!0;e.listen(()=>{if(o=!0,!e.playing)for(let c of t.views)c.touch()});let a=c=>{let l=Math.max(c-s,0)/1e3;s=c,e.tick(l);for(let h of t.views)h.draw(l);let u=(c-r)/1e3;o&&(!e.playing||u>dE)&&(t.plots?.draw(u),r=c,o=!1),requestAnimationFrame(a)};for(let c of t.views)c.draw(0);pE(t),requestAnimationFrame(a)}function pE(i){let{player:e}=i;window.drytouch={readyMs:performance.now(),positionAt:(t,n=0)=>e.replays[n].positionAt(t),commandAt:(t,n=0)=>e.replays[n].commandAt(t),speedAt:(t,n=0)=>e.replays[n].speedAt(t),padDepthAt:(t,n,s=0)=>e.replays[s].padDepthAt(t,n),signalAt:(t,n,s=0)=>e.replays[s].signalAt(t,n),seek:t=>e.seek(t),setCamera:t=>i.setCamera(t),state:()=>({t:e.t,start:e.start,end:e.end,playing:e.playing,rate:e.rate,running:e.rateAt(e.t),asked:e.asked?.ask??null,times:e.replays.map((t,n)=>e.timeOf(n)),frames:i.views.map(t=>t.frames),camera:i.views[0].eye.name,outlines:i.views.map(t=>t.belief.outlines.map(n=>n.label))})}}fE();})();
