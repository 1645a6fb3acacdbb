"use strict";(()=>{var sl,Pt,yp,lx,Ks,mp,vp,Sp,bp,xu,mu,gu,cx,Fo={},Mp=[],hx=/acit|ex(?:s|g|n|p|$)|rph|grid|ows|mnc|ntw|ine[ch]|zoo|^ord|itera/i,rl=Array.isArray;function as(i,e){for(var t in e)i[t]=e[t];return i}function yu(i){i&&i.parentNode&&i.parentNode.removeChild(i)}function ux(i,e,t){var n,s,r,o={};for(r in e)r=="key"?n=e[r]:r=="ref"?s=e[r]:o[r]=e[r];if(arguments.length>2&&(o.children=arguments.length>3?sl.call(arguments,2):t),typeof i=="function"&&i.defaultProps!=null)for(r in i.defaultProps)o[r]===void 0&&(o[r]=i.defaultProps[r]);return tl(i,o,n,s,null)}function tl(i,e,t,n,s){var r={type:i,props:e,key:t,ref:n,__k:null,__:null,__b:0,__e:null,__c:null,constructor:void 0,__v:s??++yp,__i:-1,__u:0};return s==null&&Pt.vnode!=null&&Pt.vnode(r),r}function wi(i){return i.children}function nl(i,e){this.props=i,this.context=e}function Rr(i,e){if(e==null)return i.__?Rr(i.__,i.__i+1):null;for(var t;e<i.__k.length;e++)if((t=i.__k[e])!=null&&t.__e!=null)return t.__e;return typeof i.type=="function"?Rr(i):null}function wp(i){var e,t;if((i=i.__)!=null&&i.__c!=null){for(i.__e=i.__c.base=null,e=0;e<i.__k.length;e++)if((t=i.__k[e])!=null&&t.__e!=null){i.__e=i.__c.base=t.__e;break}return wp(i)}}function gp(i){(!i.__d&&(i.__d=!0)&&Ks.push(i)&&!il.__r++||mp!=Pt.debounceRendering)&&((mp=Pt.debounceRendering)||vp)(il)}function il(){for(var i,e,t,n,s,r,o,a=1;Ks.length;)Ks.length>a&&Ks.sort(Sp),i=Ks.shift(),a=Ks.length,i.__d&&(t=void 0,n=void 0,s=(n=(e=i).__v).__e,r=[],o=[],e.__P&&((t=as({},n)).__v=n.__v+1,Pt.vnode&&Pt.vnode(t),vu(e.__P,t,n,e.__n,e.__P.namespaceURI,32&n.__u?[s]:null,r,s??Rr(n),!!(32&n.__u),o),t.__v=n.__v,t.__.__k[t.__i]=t,Tp(r,t,o),n.__e=n.__=null,t.__e!=s&&wp(t)));il.__r=0}function Ap(i,e,t,n,s,r,o,a,c,l,u){var h,f,d,g,v,m,p,y=n&&n.__k||Mp,T=e.length;for(c=fx(t,e,y,c,T),h=0;h<T;h++)(d=t.__k[h])!=null&&(f=d.__i==-1?Fo:y[d.__i]||Fo,d.__i=h,m=vu(i,d,f,s,r,o,a,c,l,u),g=d.__e,d.ref&&f.ref!=d.ref&&(f.ref&&Su(f.ref,null,d),u.push(d.ref,d.__c||g,d)),v==null&&g!=null&&(v=g),(p=!!(4&d.__u))||f.__k===d.__k?c=Ep(d,c,i,p):typeof d.type=="function"&&m!==void 0?c=m:g&&(c=g.nextSibling),d.__u&=-7);return t.__e=v,c}function fx(i,e,t,n,s){var r,o,a,c,l,u=t.length,h=u,f=0;for(i.__k=new Array(s),r=0;r<s;r++)(o=e[r])!=null&&typeof o!="boolean"&&typeof o!="function"?(c=r+f,(o=i.__k[r]=typeof o=="string"||typeof o=="number"||typeof o=="bigint"||o.constructor==String?tl(null,o,null,null,null):rl(o)?tl(wi,{children:o},null,null,null):o.constructor==null&&o.__b>0?tl(o.type,o.props,o.key,o.ref?o.ref:null,o.__v):o).__=i,o.__b=i.__b+1,a=null,(l=o.__i=dx(o,t,c,h))!=-1&&(h--,(a=t[l])&&(a.__u|=2)),a==null||a.__v==null?(l==-1&&(s>u?f--:s<u&&f++),typeof o.type!="function"&&(o.__u|=4)):l!=c&&(l==c-1?f--:l==c+1?f++:(l>c?f--:f++,o.__u|=4))):i.__k[r]=null;if(h)for(r=0;r<u;r++)(a=t[r])!=null&&(2&a.__u)==0&&(a.__e==n&&(n=Rr(a)),Rp(a,a));return n}function Ep(i,e,t,n){var s,r;if(typeof i.type=="function"){for(s=i.__k,r=0;s&&r<s.length;r++)s[r]&&(s[r].__=i,e=Ep(s[r],e,t,n));return e}i.__e!=e&&(n&&(e&&i.type&&!e.parentNode&&(e=Rr(i)),t.insertBefore(i.__e,e||null)),e=i.__e);do e=e&&e.nextSibling;while(e!=null&&e.nodeType==8);return e}function dx(i,e,t,n){var s,r,o,a=i.key,c=i.type,l=e[t],u=l!=null&&(2&l.__u)==0;if(l===null&&i.key==null||u&&a==l.key&&c==l.type)return t;if(n>(u?1:0)){for(s=t-1,r=t+1;s>=0||r<e.length;)if((l=e[o=s>=0?s--:r++])!=null&&(2&l.__u)==0&&a==l.key&&c==l.type)return o}return-1}function _p(i,e,t){e[0]=="-"?i.setProperty(e,t??""):i[e]=t==null?"":typeof t!="number"||hx.test(e)?t:t+"px"}function el(i,e,t,n,s){var r,o;e:if(e=="style")if(typeof t=="string")i.style.cssText=t;else{if(typeof n=="string"&&(i.style.cssText=n=""),n)for(e in n)t&&e in t||_p(i.style,e,"");if(t)for(e in t)n&&t[e]==n[e]||_p(i.style,e,t[e])}else if(e[0]=="o"&&e[1]=="n")r=e!=(e=e.replace(bp,"$1")),o=e.toLowerCase(),e=o in i||e=="onFocusOut"||e=="onFocusIn"?o.slice(2):e.slice(2),i.l||(i.l={}),i.l[e+r]=t,t?n?t.u=n.u:(t.u=xu,i.addEventListener(e,r?gu:mu,r)):i.removeEventListener(e,r?gu:mu,r);else{if(s=="http://www.w3.org/2000/svg")e=e.replace(/xlink(H|:h)/,"h").replace(/sName$/,"s");else if(e!="width"&&e!="height"&&e!="href"&&e!="list"&&e!="form"&&e!="tabIndex"&&e!="download"&&e!="rowSpan"&&e!="colSpan"&&e!="role"&&e!="popover"&&e in i)try{i[e]=t??"";break e}catch{}typeof t=="function"||(t==null||t===!1&&e[4]!="-"?i.removeAttribute(e):i.setAttribute(e,e=="popover"&&t==1?"":t))}}function xp(i){return function(e){if(this.l){var t=this.l[e.type+i];if(e.t==null)e.t=xu++;else if(e.t<t.u)return;return t(Pt.event?Pt.event(e):e)}}}function vu(i,e,t,n,s,r,o,a,c,l){var u,h,f,d,g,v,m,p,y,T,S,C,E,x,A,F,L,I=e.type;if(e.constructor!=null)return null;128&t.__u&&(c=!!(32&t.__u),r=[a=e.__e=t.__e]),(u=Pt.__b)&&u(e);e:if(typeof I=="function")try{if(p=e.props,y="prototype"in I&&I.prototype.render,T=(u=I.contextType)&&n[u.__c],S=u?T?T.props.value:u.__:n,t.__c?m=(h=e.__c=t.__c).__=h.__E:(y?e.__c=h=new I(p,S):(e.__c=h=new nl(p,S),h.constructor=I,h.render=mx),T&&T.sub(h),h.props=p,h.state||(h.state={}),h.context=S,h.__n=n,f=h.__d=!0,h.__h=[],h._sb=[]),y&&h.__s==null&&(h.__s=h.state),y&&I.getDerivedStateFromProps!=null&&(h.__s==h.state&&(h.__s=as({},h.__s)),as(h.__s,I.getDerivedStateFromProps(p,h.__s))),d=h.props,g=h.state,h.__v=e,f)y&&I.getDerivedStateFromProps==null&&h.componentWillMount!=null&&h.componentWillMount(),y&&h.componentDidMount!=null&&h.__h.push(h.componentDidMount);else{if(y&&I.getDerivedStateFromProps==null&&p!==d&&h.componentWillReceiveProps!=null&&h.componentWillReceiveProps(p,S),!h.__e&&h.shouldComponentUpdate!=null&&h.shouldComponentUpdate(p,h.__s,S)===!1||e.__v==t.__v){for(e.__v!=t.__v&&(h.props=p,h.state=h.__s,h.__d=!1),e.__e=t.__e,e.__k=t.__k,e.__k.some(function(k){k&&(k.__=e)}),C=0;C<h._sb.length;C++)h.__h.push(h._sb[C]);h._sb=[],h.__h.length&&o.push(h);break e}h.componentWillUpdate!=null&&h.componentWillUpdate(p,h.__s,S),y&&h.componentDidUpdate!=null&&h.__h.push(function(){h.componentDidUpdate(d,g,v)})}if(h.context=S,h.props=p,h.__P=i,h.__e=!1,E=Pt.__r,x=0,y){for(h.state=h.__s,h.__d=!1,E&&E(e),u=h.render(h.props,h.state,h.context),A=0;A<h._sb.length;A++)h.__h.push(h._sb[A]);h._sb=[]}else do h.__d=!1,E&&E(e),u=h.render(h.props,h.state,h.context),h.state=h.__s;while(h.__d&&++x<25);h.state=h.__s,h.getChildContext!=null&&(n=as(as({},n),h.getChildContext())),y&&!f&&h.getSnapshotBeforeUpdate!=null&&(v=h.getSnapshotBeforeUpdate(d,g)),F=u,u!=null&&u.type===wi&&u.key==null&&(F=Cp(u.props.children)),a=Ap(i,rl(F)?F:[F],e,t,n,s,r,o,a,c,l),h.base=e.__e,e.__u&=-161,h.__h.length&&o.push(h),m&&(h.__E=h.__=null)}catch(k){if(e.__v=null,c||r!=null)if(k.then){for(e.__u|=c?160:128;a&&a.nodeType==8&&a.nextSibling;)a=a.nextSibling;r[r.indexOf(a)]=null,e.__e=a}else{for(L=r.length;L--;)yu(r[L]);_u(e)}else e.__e=t.__e,e.__k=t.__k,k.then||_u(e);Pt.__e(k,e,t)}else r==null&&e.__v==t.__v?(e.__k=t.__k,e.__e=t.__e):a=e.__e=px(t.__e,e,t,n,s,r,o,c,l);return(u=Pt.diffed)&&u(e),128&e.__u?void 0:a}function _u(i){i&&i.__c&&(i.__c.__e=!0),i&&i.__k&&i.__k.forEach(_u)}function Tp(i,e,t){for(var n=0;n<t.length;n++)Su(t[n],t[++n],t[++n]);Pt.__c&&Pt.__c(e,i),i.some(function(s){try{i=s.__h,s.__h=[],i.some(function(r){r.call(s)})}catch(r){Pt.__e(r,s.__v)}})}function Cp(i){return typeof i!="object"||i==null||i.__b&&i.__b>0?i:rl(i)?i.map(Cp):as({},i)}function px(i,e,t,n,s,r,o,a,c){var l,u,h,f,d,g,v,m=t.props,p=e.props,y=e.type;if(y=="svg"?s="http://www.w3.org/2000/svg":y=="math"?s="http://www.w3.org/1998/Math/MathML":s||(s="http://www.w3.org/1999/xhtml"),r!=null){for(l=0;l<r.length;l++)if((d=r[l])&&"setAttribute"in d==!!y&&(y?d.localName==y:d.nodeType==3)){i=d,r[l]=null;break}}if(i==null){if(y==null)return document.createTextNode(p);i=document.createElementNS(s,y,p.is&&p),a&&(Pt.__m&&Pt.__m(e,r),a=!1),r=null}if(y==null)m===p||a&&i.data==p||(i.data=p);else{if(r=r&&sl.call(i.childNodes),m=t.props||Fo,!a&&r!=null)for(m={},l=0;l<i.attributes.length;l++)m[(d=i.attributes[l]).name]=d.value;for(l in m)if(d=m[l],l!="children"){if(l=="dangerouslySetInnerHTML")h=d;else if(!(l in p)){if(l=="value"&&"defaultValue"in p||l=="checked"&&"defaultChecked"in p)continue;el(i,l,null,d,s)}}for(l in p)d=p[l],l=="children"?f=d:l=="dangerouslySetInnerHTML"?u=d:l=="value"?g=d:l=="checked"?v=d:a&&typeof d!="function"||m[l]===d||el(i,l,d,m[l],s);if(u)a||h&&(u.__html==h.__html||u.__html==i.innerHTML)||(i.innerHTML=u.__html),e.__k=[];else if(h&&(i.innerHTML=""),Ap(e.type=="template"?i.content:i,rl(f)?f:[f],e,t,n,y=="foreignObject"?"http://www.w3.org/1999/xhtml":s,r,o,r?r[0]:t.__k&&Rr(t,0),a,c),r!=null)for(l=r.length;l--;)yu(r[l]);a||(l="value",y=="progress"&&g==null?i.removeAttribute("value"):g!=null&&(g!==i[l]||y=="progress"&&!g||y=="option"&&g!=m[l])&&el(i,l,g,m[l],s),l="checked",v!=null&&v!=i[l]&&el(i,l,v,m[l],s))}return i}function Su(i,e,t){try{if(typeof i=="function"){var n=typeof i.__u=="function";n&&i.__u(),n&&e==null||(i.__u=i(e))}else i.current=e}catch(s){Pt.__e(s,t)}}function Rp(i,e,t){var n,s;if(Pt.unmount&&Pt.unmount(i),(n=i.ref)&&(n.current&&n.current!=i.__e||Su(n,null,e)),(n=i.__c)!=null){if(n.componentWillUnmount)try{n.componentWillUnmount()}catch(r){Pt.__e(r,e)}n.base=n.__P=null}if(n=i.__k)for(s=0;s<n.length;s++)n[s]&&Rp(n[s],e,t||typeof i.type!="function");t||yu(i.__e),i.__c=i.__=i.__e=void 0}function mx(i,e,t){return this.constructor(i,t)}function Pp(i,e,t){var n,s,r,o;e==document&&(e=document.documentElement),Pt.__&&Pt.__(i,e),s=(n=typeof t=="function")?null:t&&t.__k||e.__k,r=[],o=[],vu(e,i=(!n&&t||e).__k=ux(wi,null,[i]),s||Fo,Fo,e.namespaceURI,!n&&t?[t]:s?null:e.firstChild?sl.call(e.childNodes):null,r,!n&&t?t:s?s.__e:e.firstChild,n,o),Tp(r,i,o)}sl=Mp.slice,Pt={__e:function(i,e,t,n){for(var s,r,o;e=e.__;)if((s=e.__c)&&!s.__)try{if((r=s.constructor)&&r.getDerivedStateFromError!=null&&(s.setState(r.getDerivedStateFromError(i)),o=s.__d),s.componentDidCatch!=null&&(s.componentDidCatch(i,n||{}),o=s.__d),o)return s.__E=s}catch(a){i=a}throw i}},yp=0,lx=function(i){return i!=null&&i.constructor==null},nl.prototype.setState=function(i,e){var t;t=this.__s!=null&&this.__s!=this.state?this.__s:this.__s=as({},this.state),typeof i=="function"&&(i=i(as({},t),this.props)),i&&as(t,i),i!=null&&this.__v&&(e&&this._sb.push(e),gp(this))},nl.prototype.forceUpdate=function(i){this.__v&&(this.__e=!0,i&&this.__h.push(i),gp(this))},nl.prototype.render=wi,Ks=[],vp=typeof Promise=="function"?Promise.prototype.then.bind(Promise.resolve()):setTimeout,Sp=function(i,e){return i.__v.__b-e.__v.__b},il.__r=0,bp=/(PointerCapture)$|Capture$/i,xu=0,mu=xp(!1),gu=xp(!0),cx=0;var Pr,jt,bu,Ip,al=0,kp=[],sn=Pt,Lp=sn.__b,Dp=sn.__r,Np=sn.diffed,Up=sn.__c,Fp=sn.unmount,Op=sn.__;function ll(i,e){sn.__h&&sn.__h(jt,i,al||e),al=0;var t=jt.__H||(jt.__H={__:[],__h:[]});return i>=t.__.length&&t.__.push({}),t.__[i]}function zp(i){return al=1,wu(Vp,i)}function wu(i,e,t){var n=ll(Pr++,2);if(n.t=i,!n.__c&&(n.__=[t?t(e):Vp(void 0,e),function(a){var c=n.__N?n.__N[0]:n.__[0],l=n.t(c,a);c!==l&&(n.__N=[l,n.__[1]],n.__c.setState({}))}],n.__c=jt,!jt.__f)){var s=function(a,c,l){if(!n.__c.__H)return!0;var u=n.__c.__H.__.filter(function(f){return!!f.__c});if(u.every(function(f){return!f.__N}))return!r||r.call(this,a,c,l);var h=n.__c.props!==a;return u.forEach(function(f){if(f.__N){var d=f.__[0];f.__=f.__N,f.__N=void 0,d!==f.__[0]&&(h=!0)}}),r&&r.call(this,a,c,l)||h};jt.__f=!0;var r=jt.shouldComponentUpdate,o=jt.componentWillUpdate;jt.componentWillUpdate=function(a,c,l){if(this.__e){var u=r;r=void 0,s(a,c,l),r=u}o&&o.call(this,a,c,l)},jt.shouldComponentUpdate=s}return n.__N||n.__}function Au(i,e){var t=ll(Pr++,3);!sn.__s&&Eu(t.__H,e)&&(t.__=i,t.u=e,jt.__H.__h.push(t))}function Oo(i,e){var t=ll(Pr++,4);!sn.__s&&Eu(t.__H,e)&&(t.__=i,t.u=e,jt.__h.push(t))}function Ir(i){return al=5,gx(function(){return{current:i}},[])}function gx(i,e){var t=ll(Pr++,7);return Eu(t.__H,e)&&(t.__=i(),t.__H=e,t.__h=i),t.__}function _x(){for(var i;i=kp.shift();)if(i.__P&&i.__H)try{i.__H.__h.forEach(ol),i.__H.__h.forEach(Mu),i.__H.__h=[]}catch(e){i.__H.__h=[],sn.__e(e,i.__v)}}sn.__b=function(i){jt=null,Lp&&Lp(i)},sn.__=function(i,e){i&&e.__k&&e.__k.__m&&(i.__m=e.__k.__m),Op&&Op(i,e)},sn.__r=function(i){Dp&&Dp(i),Pr=0;var e=(jt=i.__c).__H;e&&(bu===jt?(e.__h=[],jt.__h=[],e.__.forEach(function(t){t.__N&&(t.__=t.__N),t.u=t.__N=void 0})):(e.__h.forEach(ol),e.__h.forEach(Mu),e.__h=[],Pr=0)),bu=jt},sn.diffed=function(i){Np&&Np(i);var e=i.__c;e&&e.__H&&(e.__H.__h.length&&(kp.push(e)!==1&&Ip===sn.requestAnimationFrame||((Ip=sn.requestAnimationFrame)||xx)(_x)),e.__H.__.forEach(function(t){t.u&&(t.__H=t.u),t.u=void 0})),bu=jt=null},sn.__c=function(i,e){e.some(function(t){try{t.__h.forEach(ol),t.__h=t.__h.filter(function(n){return!n.__||Mu(n)})}catch(n){e.some(function(s){s.__h&&(s.__h=[])}),e=[],sn.__e(n,t.__v)}}),Up&&Up(i,e)},sn.unmount=function(i){Fp&&Fp(i);var e,t=i.__c;t&&t.__H&&(t.__H.__.forEach(function(n){try{ol(n)}catch(s){e=s}}),t.__H=void 0,e&&sn.__e(e,t.__v))};var Bp=typeof requestAnimationFrame=="function";function xx(i){var e,t=function(){clearTimeout(n),Bp&&cancelAnimationFrame(e),setTimeout(i)},n=setTimeout(t,35);Bp&&(e=requestAnimationFrame(t))}function ol(i){var e=jt,t=i.__c;typeof t=="function"&&(i.__c=void 0,t()),jt=e}function Mu(i){var e=jt;i.__c=i.__(),jt=e}function Eu(i,e){return!i||i.length!==e.length||e.some(function(t,n){return t!==i[n]})}function Vp(i,e){return typeof e=="function"?e(i):e}var yx=0;function X(i,e,t,n,s,r){e||(e={});var o,a,c=e;if("ref"in c)for(a in c={},e)a=="ref"?o=e[a]:c[a]=e[a];var l={type:i,props:c,key:t,ref:o,__k:null,__:null,__b:0,__e:null,__c:null,constructor:void 0,__v:--yx,__i:-1,__u:0,__source:s,__self:r};if(typeof i=="function"&&(o=i.defaultProps))for(a in o)c[a]===void 0&&(c[a]=o[a]);return Pt.vnode&&Pt.vnode(l),l}var Gp={cross:"M5 5L19 19M19 5L5 19",unequal:"M4 9H20M4 15H20M16 4L8 20",triangle:"M12 4L21 20H3ZM12 10V15M12 17.4V18",bar:"M12 2.5A9.5 9.5 0 1 0 12 21.5A9.5 9.5 0 1 0 12 2.5M6.5 12H17.5",tick:"M4 13L10 19L20 5",ring:"M12 4A8 8 0 1 0 12 20A8 8 0 1 0 12 4"};function Is({look:i,size:e}){return X("svg",{class:"sign",width:e,height:e,viewBox:"0 0 24 24","aria-hidden":"true",children:X("path",{d:Gp[i.sign]??Gp.ring,fill:"none",stroke:i.colour,"stroke-width":"3.2","stroke-linecap":"round","stroke-linejoin":"round"})})}var Bo=!1;function Tu(i){Bo=i}function ls(){return Bo}function ii(i,e){let t=i.toFixed(e);return Number(t)===0?t.replace("-",""):t}function ko(i,e=3){return Bo?`${ii(i/25.4,e+1)} in`:`${ii(i,e)} mm`}function Lr(i){if(Bo)return`${ii(i/25.4*1e3,2)} thou`;let e=i*1e3;return`${ii(e,Math.abs(e)<99.95?1:0)} \xB5m`}function Dr(i){return`${ii(i,3)} s`}function Pn(i){return Bo?i.replace(/([+-]?\d+(?:\.\d+)?)\s?mm(\/s|\/min)?(?![\w²])/g,(e,t,n)=>{let s=(t.split(".")[1]??"").length+(n?2:1),r=Number(t)/25.4;return`${t.startsWith("+")&&r>=0?"+":""}${ii(r,s)} in${n??""}`}).replace(/([+-]?\d+(?:\.\d+)?)\s?[µu]m\b/g,(e,t)=>`${ii(Number(t)/25.4,2)} thou`):i}function Wp({desk:i}){let{player:e}=i;if(e.asked)return X(Mx,{desk:i,asked:e.asked});let t=i.reading;return X("section",{class:"card","aria-label":"What happened",children:[X(vx,{desk:i}),X("div",{class:"card-text",children:[t==="story"&&X(Hp,{desk:i}),t==="result"&&X(bx,{desk:i}),typeof t=="object"&&(i.hidden(t)?X(Hp,{desk:i}):X(Sx,{desk:i,finding:t}))]})]})}function vx({desk:i}){let e=i.reading,t=i.player.page.look.verdicts;return X("nav",{class:"chips","aria-label":"Findings",children:[X("button",{"aria-pressed":e==="story",onClick:()=>i.pick("story"),children:"Story"}),i.told.map(n=>{let s=i.hidden(n);return X("button",{disabled:s,"aria-pressed":e===n,onClick:()=>i.jump(n),title:s?"answer the question first":n.title,children:[s?"?":X(Is,{look:t[n.severity]??t[""],size:16}),X("span",{class:"visually-hidden",children:s?"hidden finding":n.title})," ",n.number]},n.number)}),X("button",{"aria-pressed":e==="result",disabled:i.player.hiddenFrom<1/0,onClick:()=>i.pick("result"),children:"Result"})]})}function Hp({desk:i}){return X(wi,{children:i.player.page.entries.map((e,t)=>X("div",{children:[i.player.page.entries.length>1&&X("h2",{children:["AB"[t],": ",e.title]}),e.story&&X("p",{children:Pn(e.story)}),e.watch_for&&X("p",{children:[X("b",{class:"head",children:"Watch for"}),Pn(e.watch_for)]}),!e.story&&!e.watch_for&&X("p",{children:"Press Play. Time slows by itself at each contact."})]},t))})}function Sx({desk:i,finding:e}){let t=i.player.page.look.verdicts[e.severity]??i.player.page.look.verdicts[""],n=i.player.replays.length>1;return X(wi,{children:[X("h2",{style:{color:t.colour},children:[X(Is,{look:t,size:24})," ",n?`${"AB"[e.entry]}: `:"",e.title,X("small",{children:[" ",t.word.toLowerCase(),", at ",Dr(e.t)]})]}),e.sentences.map(([s,r])=>X("p",{children:[X("b",{class:"head",children:s}),Pn(r)]},s)),e.figures.length>0&&X("p",{class:"figures",children:e.figures.map(([s,r])=>X("span",{children:[s," ",X("b",{children:Pn(r)})]},s))})]})}function bx({desk:i}){return X(wi,{children:i.player.page.entries.map((e,t)=>{let n=i.player.page.look.verdicts[e.verdict]??i.player.page.look.verdicts[""];return X("div",{children:[X("h2",{style:{color:n.colour},children:[X(Is,{look:n,size:24})," ",i.player.page.entries.length>1?`${"AB"[t]}: `:"",n.word]}),X("p",{children:[n.meaning[0].toUpperCase()+n.meaning.slice(1),"."]}),e.numbers.length>0&&X("table",{children:[X("thead",{children:X("tr",{children:[X("th",{children:"Number"}),X("th",{children:"stored"}),X("th",{children:"true"}),X("th",{children:"off by"})]})}),X("tbody",{children:e.numbers.map(s=>X("tr",{children:[X("th",{children:s.name}),X("td",{children:Pn(s.belief)}),X("td",{children:Pn(s.truth)}),X("td",{children:[Pn(s.error)," ",s.off?X("b",{children:"\u2717 too much"}):"\u2713"]})]},s.name))})]}),e.alarms.map(s=>X("p",{children:[X("b",{class:"head",children:"Alarm"}),Pn(s)]},s))]},t)})})}function Mx({desk:i,asked:e}){let t=e.chosen>=0,n=e.chosen+1===e.answer;return X("section",{class:"card question","aria-label":"Question",children:[X("h2",{children:[X("span",{class:"query","aria-hidden":"true",children:"?"})," What happens next?"]}),X("div",{class:"card-text",children:[X("p",{class:"ask",children:Pn(e.ask)}),X("ol",{class:"choices",children:e.choices.map((s,r)=>{let o=r+1===e.answer,a=t?o?"\u2713 ":r===e.chosen?"\u2717 ":"":"";return X("li",{children:X("button",{disabled:t,class:t&&o?"is-right":t&&r===e.chosen?"is-wrong":"",onClick:()=>i.player.answer(r),children:[X("kbd",{children:r+1})," ",a,Pn(s)]})},s)})}),t&&X(wi,{children:[X("p",{class:"because",children:[X("b",{children:n?"Right.":"Not so."})," ",Pn(e.because)]}),X("button",{class:"go-on",autofocus:!0,onClick:()=>i.player.goOn(),children:"Watch it happen \u25B6"})]}),!t&&X("button",{class:"skip",onClick:()=>i.player.goOn(),children:"Don't ask, play on"})]})]})}var zo=[["choose","Chosen for you","0"],["whole","Whole machine","1"],["nose","At the nose","2"],["pad","Along the pad","3"],["follow","Follow the tip","4"]],cl=class{constructor(e){this.player=e;this.views=[];this.plots=null;this.picked=null;this.help=!1;this.beliefs=!0;this.labels=!0;this.cut=null;this.camera="choose";this.inch=e.page.display==="inch",Tu(this.inch),this.told=e.page.entries.flatMap((t,n)=>t.findings.map(s=>({...s,entry:n,at:s.t-e.shift(n),number:0}))).sort((t,n)=>t.at-n.at),this.told.forEach((t,n)=>t.number=n+1)}get reading(){if(this.picked)return this.picked;let{player:e}=this,t=this.told.filter(r=>r.at<=e.t+1e-9&&!this.hidden(r));if(e.t>=e.end-1e-9&&!e.playing&&e.start<e.end)return"result";if(t.length===0)return"story";let n=t[t.length-1].at,s=["harm","wrong","risky","stopped","right"];return t.filter(r=>r.at>n-.02).reduce((r,o)=>s.indexOf(o.severity)<s.indexOf(r.severity)?o:r)}hidden(e){let{player:t}=this;return t.questions.some(n=>n.chosen<0&&n.hides.includes(e.code)&&n.t>=e.at&&t.t<=n.t)?!0:e.at>t.hiddenFrom&&e.at>t.t}jump(e){this.hidden(e)||(this.player.playing=!1,this.player.seek(e.seen_t-this.player.shift(e.entry)),this.picked=e,this.player.changed())}jumpBy(e){let t=this.player.t,n=this.told.filter(o=>!this.hidden(o)),s=this.picked&&typeof this.picked=="object"?n.indexOf(this.picked):-1,r=s>=0?n[s+e]:e>0?n.find(o=>o.at>t+1e-9):[...n].reverse().find(o=>o.at<t-1e-9);r&&this.jump(r)}pick(e){this.picked=e,this.player.changed()}setCamera(e){this.camera=e;for(let t of this.views)t.setCamera(e);this.player.changed()}grab(e,t,n){for(let s of this.views)s.grab(e,t,n)}toggle(e){e==="cut"?this.cut=this.cut?null:!0:this[e]=!this[e],Tu(this.inch);for(let t of this.views)t.belief.shown=this.beliefs,t.labels.shown=this.labels,t.cutOpen=this.cut,t.touch();this.player.changed()}};var Xp=[["Space","play or pause"],["\u2190 \u2192","previous or next event"],["Shift + \u2190 \u2192","a little back or on"],["Home, End","start, end"],["[ ]","slower, faster"],["S","slow down at contact, on or off"],["F, Shift + F","next or previous finding"],["1 to 9","answer a question"],["Enter","go on after an answer"],["0 to 4","camera"],[", .","turn the view"],["Page up, down","raise or lower the view"],["+ -","nearer, farther"],["X","cut open to see inside"],["B","what the controller takes to be so"],["L","labels"],["U","mm or inch"],["H","this list"]];function qp(i){window.addEventListener("keydown",e=>{if(e.ctrlKey||e.altKey||e.metaKey)return;let t=e.target;["BUTTON","SELECT","SUMMARY"].includes(t.tagName)&&(e.key===" "||e.key==="Enter")||t.tagName==="SELECT"&&e.key.startsWith("Arrow")||wx(i,e)&&e.preventDefault()})}function wx(i,e){let{player:t}=i,n=e.key,s=Math.min(Math.max(t.rateAt(t.t)*.25,1e-5),.25),r=t.asked;if(/^[0-9]$/.test(n)){let o=Number(n);return r&&r.chosen<0&&o>=1&&o<=r.choices.length?t.answer(o-1):o<zo.length&&i.setCamera(zo[o][0]),!0}if(e.repeat&&!n.startsWith("Arrow")&&![",",".","+","-","PageUp","PageDown"].includes(n))return!1;switch((n.startsWith("Arrow")||n==="Home"||n==="End"||n===" ")&&(i.picked=null),n.length===1?n.toLowerCase():n){case" ":return r&&r.chosen>=0?t.goOn():t.play(),!0;case"Enter":return r&&r.chosen>=0&&t.goOn(),!0;case"ArrowRight":case"ArrowLeft":{let o=n==="ArrowRight"?1:-1;return e.shiftKey?t.seek(t.t+o*s):t.step(o),!0}case"Home":return t.seek(t.start),!0;case"End":return t.seek(t.end),!0;case"[":return t.faster(-1),!0;case"]":return t.faster(1),!0;case"s":return t.setSlows(!t.slows),!0;case"f":return i.jumpBy(e.shiftKey?-1:1),!0;case",":return i.grab(-6,0,1),!0;case".":return i.grab(6,0,1),!0;case"PageUp":return i.grab(0,5,1),!0;case"PageDown":return i.grab(0,-5,1),!0;case"+":case"=":return i.grab(0,0,.85),!0;case"-":return i.grab(0,0,1/.85),!0;case"x":return i.toggle("cut"),!0;case"b":return i.toggle("beliefs"),!0;case"l":return i.toggle("labels"),!0;case"u":return i.toggle("inch"),!0;case"h":case"?":return i.toggle("help"),!0;case"Escape":return i.help&&i.toggle("help"),!0;default:return!1}}var Yp={contact:i=>`something touches the pad of ${i}`,close:()=>"the contact in the setter acts",open:()=>"the contact in the setter goes back",leave:()=>"the pad is free again",graze:()=>"something is grazed",blocked:()=>"a body blocks the axis",stall:()=>"the drive loses steps","drive-fault":()=>"the drive gives up","e-stop":()=>"emergency stop",latch:()=>"the controller notes the position",hold:i=>i?"feed hold":"feed hold ends",plug:i=>i?.[1]?`plug of ${i[0]} goes into socket ${i[1]}`:`plug of ${i?.[0]} is pulled`,alarm:i=>`alarm: ${i?.[1]??""}`,power:i=>i?"power on":"power off",reset:()=>"the alarm is cleared",hand:i=>i?`a hand is in: ${i}`:"the hand is out",feel:i=>`gauge block felt: ${i?.[1]}`,rule:()=>"checked with a rule","jog-back":()=>"jogged back to the surface to read it again","input-seen":i=>`a person sees input ${i?.[0]} go: ${i?.[1]}`,meanwhile:i=>`meanwhile: ${i}`,skipped:i=>`skipped: step ${i?.[0]+1}`};function $p(i){let e=[];for(let[t,n,s]of i.data.events)if(n!=="finding")if(n==="step"){let r=s?.[2]?`: ${s[2]}`:"";e.push({t,kind:n,text:`step ${s[0]+1}, ${String(s[1]).replace(/[-_]/g," ")}${r}`})}else Yp[n]&&e.push({t,kind:n,text:Yp[n](typeof s=="string"?s.replace(/[-_]/g," "):s)});for(let[t,n,s]of i.data.edges)if(n.endsWith(".seen")){let r=n.slice(0,-5);e.push({t,kind:"seen",text:`the controller sees ${r} go ${s?"on":"off"}`})}for(let t of i.entry.findings)e.push({t:t.t,kind:"finding",text:t.title});return e.sort((t,n)=>t.t-n.t),e}function Zp(i){let e=i.data.events.filter(t=>t[1]==="contact");return e.map(([t,,n],s)=>{let r=p=>i.data.events.find(y=>y[0]>t&&y[1]===p&&y[2]===n)?.[0],o=e.slice(s+1).find(p=>p[2]===n)?.[0]??i.duration,a=Math.min(r("leave")??i.duration,o),c=i.lineAt(t),l=c?c.t[1]:a,u=i.data.events.find(p=>p[0]>=t&&p[1]==="blocked")?.[0],h=Math.min(a,u??1/0,Math.max(Ax(i,t,l),t)),f=Ex(i,n,t,Math.min(Math.max(h,l),a)),d=u!==void 0&&u<=h+1e-9;f.push({name:d?"blocked":"stands still",t:h,depth:i.padDepthAt(n,h)});let g=f.some(p=>p.name==="seen at scan");d&&!g&&c?.kind==="touch"&&f.push({name:"seen at scan",t:h,depth:0,never:!0});let v=f.find(p=>p.name==="contact acts"),m=i.entry.facts.setters[n];return{setter:n,contact:t,rest:h,end:a,marks:f,preTravel:v?v.depth:m?.pre_travel_mm??null,limit:i.padLimitOf(n)}})}function Ax(i,e,t){let n=i.lineAt(e);if(!n||n.pieces.length===0)return t;let s=n.pieces[n.pieces.length-1];return Math.min(s[1]+n.delay_s,t)}function Ex(i,e,t,n){let s=(l,u)=>({name:l,t:u,depth:i.padDepthAt(e,u)}),r=[s("pad touched",t)],o=i.data.events.find(l=>l[0]>=t&&l[0]<=n&&l[1]==="close");o&&r.push(s("contact acts",o[0]));let a=Tx(i,t,n);if(a){let l=i.beliefsAt(t)[`setter ${e} input`],u=l!==void 0&&`input ${l}`!==a?`, ${a}`:"",h=m=>i.edgesOf(`${a}.${m}`).filter(([p])=>p>=t&&p<=n+1e-9),f=h("raw"),d=f.filter(([,m])=>m===1);if(f.length>2){let m=f[f.length-1];r.push(s(`bounce over (${Math.floor((f.length-1)/2)} more)`,m[0]))}else!o&&d.length&&r.push(s("first edge",d[0][0]));let g=h("filtered").filter(([,m])=>m===1);g.length&&r.push(s(`filter passed${u}`,g[0][0]));let v=h("seen").filter(([,m])=>m===1);v.length&&r.push(s(`seen at scan${u}`,v[0][0]))}let c=i.data.events.find(l=>l[0]>=t&&l[0]<=n&&l[1]==="latch");return c&&r.push(s("latched position",Array.isArray(c[2])?c[2][0]:c[0])),r.sort((l,u)=>l.t-u.t)}function Tx(i,e,t){let n=i.data.edges.find(([s,r])=>s>=e&&s<=t&&r.endsWith(".raw"));return n?n[1].slice(0,-4):null}function Jp(i,e){let t=i.lineAt(e),n=t!==null&&e<=t.t[1]+1e-9,[s,r,o]=["","",""];for(let[a,c,l]of i.data.events){if(a>e)break;c==="step"?(r=l[2]??"",o="",s=`Step ${l[0]+1}: ${String(l[1]).replace(/[-_]/g," ")}`):c==="program-line"&&Array.isArray(l)&&(o=l[0]==="typed"?`typed: ${l[2]}`:`${l[0]}, line ${l[1]}: ${l[2]}`)}if(n&&t){let a=t.source[3];!s&&a&&(s=a.replace(/[-_]/g," "));let c=i.speedAt(e)*60,l=c>.05?`${ii(c,c<10?1:0)} mm/min`:"at rest",u=s.endsWith(` ${t.kind}`)?l:`${t.kind}, ${l}`;return{head:`${s||"Running"} \xB7 ${u}`,code:o,note:r}}return{head:`${s||"Ready"} \xB7 at rest`,code:o,note:r}}var Cx="uplot",Rx="u-hz",Px="u-vt",Ix="u-title",Lx="u-wrap",Dx="u-under",Nx="u-over",Ux="u-axis",er="u-off",Fx="u-select",Ox="u-cursor-x",Bx="u-cursor-y",kx="u-cursor-pt",zx="u-legend",Vx="u-live",Gx="u-inline",Hx="u-series",Wx="u-marker",Kp="u-label",Xx="u-value",Go="width",Ho="height";var jp="bottom",Nr="left",Cu="right",Xu="#000",Qp=Xu+"0",Ru="mousemove",em="mousedown",Pu="mouseup",tm="mouseenter",nm="mouseleave",im="dblclick",qx="resize",Yx="scroll",sm="change",pl="dppxchange",qu="--",Vr=typeof window<"u",Uu=Vr?document:null,Fr=Vr?window:null,$x=Vr?navigator:null,Mt,hl;function Fu(){let i=devicePixelRatio;Mt!=i&&(Mt=i,hl&&Bu(sm,hl,Fu),hl=matchMedia(`(min-resolution: ${Mt-.001}dppx) and (max-resolution: ${Mt+.001}dppx)`),tr(sm,hl,Fu),Fr.dispatchEvent(new CustomEvent(pl)))}function si(i,e){if(e!=null){let t=i.classList;!t.contains(e)&&t.add(e)}}function Ou(i,e){let t=i.classList;t.contains(e)&&t.remove(e)}function Gt(i,e,t){i.style[e]=t+"px"}function Ai(i,e,t,n){let s=Uu.createElement(i);return e!=null&&si(s,e),t?.insertBefore(s,n),s}function gi(i,e){return Ai("div",i,e)}var rm=new WeakMap;function Xi(i,e,t,n,s){let r="translate("+e+"px,"+t+"px)",o=rm.get(i);r!=o&&(i.style.transform=r,rm.set(i,r),e<0||t<0||e>n||t>s?si(i,er):Ou(i,er))}var om=new WeakMap;function am(i,e,t){let n=e+t,s=om.get(i);n!=s&&(om.set(i,n),i.style.background=e,i.style.borderColor=t)}var lm=new WeakMap;function cm(i,e,t,n){let s=e+""+t,r=lm.get(i);s!=r&&(lm.set(i,s),i.style.height=t+"px",i.style.width=e+"px",i.style.marginLeft=n?-e/2+"px":0,i.style.marginTop=n?-t/2+"px":0)}var Yu={passive:!0},Zx={...Yu,capture:!0};function tr(i,e,t,n){e.addEventListener(i,t,n?Zx:Yu)}function Bu(i,e,t,n){e.removeEventListener(i,t,Yu)}Vr&&Fu();function Ei(i,e,t,n){let s;t=t||0,n=n||e.length-1;let r=n<=2147483647;for(;n-t>1;)s=r?t+n>>1:ri((t+n)/2),e[s]<i?t=s:n=s;return i-e[t]<=e[n]-i?t:n}function Om(i){return(t,n,s)=>{let r=-1,o=-1;for(let a=n;a<=s;a++)if(i(t[a])){r=a;break}for(let a=s;a>=n;a--)if(i(t[a])){o=a;break}return[r,o]}}var Bm=i=>i!=null,km=i=>i!=null&&i>0,_l=Om(Bm),Jx=Om(km);function Kx(i,e,t,n=0,s=!1){let r=s?Jx:_l,o=s?km:Bm;[e,t]=r(i,e,t);let a=i[e],c=i[e];if(e>-1)if(n==1)a=i[e],c=i[t];else if(n==-1)a=i[t],c=i[e];else for(let l=e;l<=t;l++){let u=i[l];o(u)&&(u<a?a=u:u>c&&(c=u))}return[a??Ut,c??-Ut]}function xl(i,e,t,n){let s=fm(i),r=fm(e);i==e&&(s==-1?(i*=t,e/=t):(i/=t,e*=t));let o=t==10?cs:zm,a=s==1?ri:_i,c=r==1?_i:ri,l=a(o(gn(i))),u=c(o(gn(e))),h=Or(t,l),f=Or(t,u);return t==10&&(l<0&&(h=Ft(h,-l)),u<0&&(f=Ft(f,-u))),n||t==2?(i=h*s,e=f*r):(i=Wm(i,h),e=yl(e,f)),[i,e]}function $u(i,e,t,n){let s=xl(i,e,t,n);return i==0&&(s[0]=0),e==0&&(s[1]=0),s}var Zu=.1,hm={mode:3,pad:Zu},Xo={pad:0,soft:null,mode:0},jx={min:Xo,max:Xo};function ml(i,e,t,n){return vl(t)?um(i,e,t):(Xo.pad=t,Xo.soft=n?0:null,Xo.mode=n?3:0,um(i,e,jx))}function St(i,e){return i??e}function Qx(i,e,t){for(e=St(e,0),t=St(t,i.length-1);e<=t;){if(i[e]!=null)return!0;e++}return!1}function um(i,e,t){let n=t.min,s=t.max,r=St(n.pad,0),o=St(s.pad,0),a=St(n.hard,-Ut),c=St(s.hard,Ut),l=St(n.soft,Ut),u=St(s.soft,-Ut),h=St(n.mode,0),f=St(s.mode,0),d=e-i,g=cs(d),v=Xn(gn(i),gn(e)),m=cs(v),p=gn(m-g);(d<1e-24||p>10)&&(d=0,(i==0||e==0)&&(d=1e-24,h==2&&l!=Ut&&(r=0),f==2&&u!=-Ut&&(o=0)));let y=d||v||1e3,T=cs(y),S=Or(10,ri(T)),C=y*(d==0?i==0?.1:1:r),E=Ft(Wm(i-C,S/10),24),x=i>=l&&(h==1||h==3&&E<=l||h==2&&E>=l)?l:Ut,A=Xn(a,E<x&&i>=x?x:Ti(x,E)),F=y*(d==0?e==0?.1:1:o),L=Ft(yl(e+F,S/10),24),I=e<=u&&(f==1||f==3&&L>=u||f==2&&L<=u)?u:-Ut,k=Ti(c,L>I&&e<=I?I:Xn(I,L));return A==k&&A==0&&(k=100),[A,k]}var ey=new Intl.NumberFormat(Vr?$x.language:"en-US"),Ju=i=>ey.format(i),oi=Math,dl=oi.PI,gn=oi.abs,ri=oi.floor,mn=oi.round,_i=oi.ceil,Ti=oi.min,Xn=oi.max,Or=oi.pow,fm=oi.sign,cs=oi.log10,zm=oi.log2,ty=(i,e=1)=>oi.sinh(i)*e,Iu=(i,e=1)=>oi.asinh(i/e),Ut=1/0;function dm(i){return(cs((i^i>>31)-(i>>31))|0)+1}function ku(i,e,t){return Ti(Xn(i,e),t)}function Vm(i){return typeof i=="function"}function _t(i){return Vm(i)?i:()=>i}var ny=()=>{},Gm=i=>i,Hm=(i,e)=>e,iy=i=>null,pm=i=>!0,mm=(i,e)=>i==e,sy=/\.\d*?(?=9{6,}|0{6,})/gm,nr=i=>{if(qm(i)||Ds.has(i))return i;let e=`${i}`,t=e.match(sy);if(t==null)return i;let n=t[0].length-1;if(e.indexOf("e-")!=-1){let[s,r]=e.split("e");return+`${nr(s)}e${r}`}return Ft(i,n)};function js(i,e){return nr(Ft(nr(i/e))*e)}function yl(i,e){return nr(_i(nr(i/e))*e)}function Wm(i,e){return nr(ri(nr(i/e))*e)}function Ft(i,e=0){if(qm(i))return i;let t=10**e,n=i*t*(1+Number.EPSILON);return mn(n)/t}var Ds=new Map;function Xm(i){return((""+i).split(".")[1]||"").length}function Yo(i,e,t,n){let s=[],r=n.map(Xm);for(let o=e;o<t;o++){let a=gn(o),c=Ft(Or(i,o),a);for(let l=0;l<n.length;l++){let u=i==10?+`${n[l]}e${o}`:n[l]*c,h=(o>=0?0:a)+(o>=r[l]?0:r[l]),f=i==10?u:Ft(u,h);s.push(f),Ds.set(f,h)}}return s}var qo={},Ku=[],Br=[null,null],Ls=Array.isArray,qm=Number.isInteger,ry=i=>i===void 0;function gm(i){return typeof i=="string"}function vl(i){let e=!1;if(i!=null){let t=i.constructor;e=t==null||t==Object}return e}function oy(i){return i!=null&&typeof i=="object"}var ay=Object.getPrototypeOf(Uint8Array),Ym="__proto__";function kr(i,e=vl){let t;if(Ls(i)){let n=i.find(s=>s!=null);if(Ls(n)||e(n)){t=Array(i.length);for(let s=0;s<i.length;s++)t[s]=kr(i[s],e)}else t=i.slice()}else if(i instanceof ay)t=i.slice();else if(e(i)){t={};for(let n in i)n!=Ym&&(t[n]=kr(i[n],e))}else t=i;return t}function un(i){let e=arguments;for(let t=1;t<e.length;t++){let n=e[t];for(let s in n)s!=Ym&&(vl(i[s])?un(i[s],kr(n[s])):i[s]=kr(n[s]))}return i}var ly=0,cy=1,hy=2;function uy(i,e,t){for(let n=0,s,r=-1;n<e.length;n++){let o=e[n];if(o>r){for(s=o-1;s>=0&&i[s]==null;)i[s--]=null;for(s=o+1;s<t&&i[s]==null;)i[r=s++]=null}}}function fy(i,e){if(my(i)){let o=i[0].slice();for(let a=1;a<i.length;a++)o.push(...i[a].slice(1));return gy(o[0])||(o=py(o)),o}let t=new Set;for(let o=0;o<i.length;o++){let c=i[o][0],l=c.length;for(let u=0;u<l;u++)t.add(c[u])}let n=[Array.from(t).sort((o,a)=>o-a)],s=n[0].length,r=new Map;for(let o=0;o<s;o++)r.set(n[0][o],o);for(let o=0;o<i.length;o++){let a=i[o],c=a[0];for(let l=1;l<a.length;l++){let u=a[l],h=Array(s).fill(void 0),f=e?e[o][l]:cy,d=[];for(let g=0;g<u.length;g++){let v=u[g],m=r.get(c[g]);v===null?f!=ly&&(h[m]=v,f==hy&&d.push(m)):h[m]=v}uy(h,d,s),n.push(h)}}return n}var dy=typeof queueMicrotask>"u"?i=>Promise.resolve().then(i):queueMicrotask;function py(i){let e=i[0],t=e.length,n=Array(t);for(let r=0;r<n.length;r++)n[r]=r;n.sort((r,o)=>e[r]-e[o]);let s=[];for(let r=0;r<i.length;r++){let o=i[r],a=Array(t);for(let c=0;c<t;c++)a[c]=o[n[c]];s.push(a)}return s}function my(i){let e=i[0][0],t=e.length;for(let n=1;n<i.length;n++){let s=i[n][0];if(s.length!=t)return!1;if(s!=e){for(let r=0;r<t;r++)if(s[r]!=e[r])return!1}}return!0}function gy(i,e=100){let t=i.length;if(t<=1)return!0;let n=0,s=t-1;for(;n<=s&&i[n]==null;)n++;for(;s>=n&&i[s]==null;)s--;if(s<=n)return!0;let r=Xn(1,ri((s-n+1)/e));for(let o=i[n],a=n+r;a<=s;a+=r){let c=i[a];if(c!=null){if(c<=o)return!1;o=c}}return!0}var $m=["January","February","March","April","May","June","July","August","September","October","November","December"],Zm=["Sunday","Monday","Tuesday","Wednesday","Thursday","Friday","Saturday"];function Jm(i){return i.slice(0,3)}var _y=Zm.map(Jm),xy=$m.map(Jm),yy={MMMM:$m,MMM:xy,WWWW:Zm,WWW:_y};function Vo(i){return(i<10?"0":"")+i}function vy(i){return(i<10?"00":i<100?"0":"")+i}var Sy={YYYY:i=>i.getFullYear(),YY:i=>(i.getFullYear()+"").slice(2),MMMM:(i,e)=>e.MMMM[i.getMonth()],MMM:(i,e)=>e.MMM[i.getMonth()],MM:i=>Vo(i.getMonth()+1),M:i=>i.getMonth()+1,DD:i=>Vo(i.getDate()),D:i=>i.getDate(),WWWW:(i,e)=>e.WWWW[i.getDay()],WWW:(i,e)=>e.WWW[i.getDay()],HH:i=>Vo(i.getHours()),H:i=>i.getHours(),h:i=>{let e=i.getHours();return e==0?12:e>12?e-12:e},AA:i=>i.getHours()>=12?"PM":"AM",aa:i=>i.getHours()>=12?"pm":"am",a:i=>i.getHours()>=12?"p":"a",mm:i=>Vo(i.getMinutes()),m:i=>i.getMinutes(),ss:i=>Vo(i.getSeconds()),s:i=>i.getSeconds(),fff:i=>vy(i.getMilliseconds())};function ju(i,e){e=e||yy;let t=[],n=/\{([a-z]+)\}|[^{]+/gi,s;for(;s=n.exec(i);)t.push(s[0][0]=="{"?Sy[s[1]]:s[0]);return r=>{let o="";for(let a=0;a<t.length;a++)o+=typeof t[a]=="string"?t[a]:t[a](r,e);return o}}var by=new Intl.DateTimeFormat().resolvedOptions().timeZone;function My(i,e){let t;return e=="UTC"||e=="Etc/UTC"?t=new Date(+i+i.getTimezoneOffset()*6e4):e==by?t=i:(t=new Date(i.toLocaleString("en-US",{timeZone:e})),t.setMilliseconds(i.getMilliseconds())),t}var Km=i=>i%1==0,gl=[1,2,2.5,5],wy=Yo(10,-32,0,gl),jm=Yo(10,0,32,gl),Ay=jm.filter(Km),Qs=wy.concat(jm),Qu=`
`,Qm="{YYYY}",_m=Qu+Qm,eg="{M}/{D}",Wo=Qu+eg,ul=Wo+"/{YY}",tg="{aa}",Ey="{h}:{mm}",Ur=Ey+tg,xm=Qu+Ur,ym=":{ss}",wt=null;function ng(i){let e=i*1e3,t=e*60,n=t*60,s=n*24,r=s*30,o=s*365,c=(i==1?Yo(10,0,3,gl).filter(Km):Yo(10,-3,0,gl)).concat([e,e*5,e*10,e*15,e*30,t,t*5,t*10,t*15,t*30,n,n*2,n*3,n*4,n*6,n*8,n*12,s,s*2,s*3,s*4,s*5,s*6,s*7,s*8,s*9,s*10,s*15,r,r*2,r*3,r*4,r*6,o,o*2,o*5,o*10,o*25,o*50,o*100]),l=[[o,Qm,wt,wt,wt,wt,wt,wt,1],[s*28,"{MMM}",_m,wt,wt,wt,wt,wt,1],[s,eg,_m,wt,wt,wt,wt,wt,1],[n,"{h}"+tg,ul,wt,Wo,wt,wt,wt,1],[t,Ur,ul,wt,Wo,wt,wt,wt,1],[e,ym,ul+" "+Ur,wt,Wo+" "+Ur,wt,xm,wt,1],[i,ym+".{fff}",ul+" "+Ur,wt,Wo+" "+Ur,wt,xm,wt,1]];function u(h){return(f,d,g,v,m,p)=>{let y=[],T=m>=o,S=m>=r&&m<o,C=h(g),E=Ft(C*i,3),x=Lu(C.getFullYear(),T?0:C.getMonth(),S||T?1:C.getDate()),A=Ft(x*i,3);if(S||T){let F=S?m/r:0,L=T?m/o:0,I=E==A?E:Ft(Lu(x.getFullYear()+L,x.getMonth()+F,1)*i,3),k=new Date(mn(I/i)),V=k.getFullYear(),N=k.getMonth();for(let W=0;I<=v;W++){let $=Lu(V+L*W,N+F*W,1),H=$-h(Ft($*i,3));I=Ft((+$+H)*i,3),I<=v&&y.push(I)}}else{let F=m>=s?s:m,L=ri(g)-ri(E),I=A+L+yl(E-A,F);y.push(I);let k=h(I),V=k.getHours()+k.getMinutes()/t+k.getSeconds()/n,N=m/n,W=f.axes[d]._space,$=p/W;for(;I=Ft(I+m,i==1?0:3),!(I>v);)if(N>1){let H=ri(Ft(V+N,6))%24,Q=h(I).getHours()-H;Q>1&&(Q=-1),I-=Q*n,V=(V+N)%24;let se=y[y.length-1];Ft((I-se)/m,3)*$>=.7&&y.push(I)}else y.push(I)}return y}}return[c,l,u]}var[Ty,Cy,Ry]=ng(1),[Py,Iy,Ly]=ng(.001);Yo(2,-53,53,[1]);function vm(i,e){return i.map(t=>t.map((n,s)=>s==0||s==8||n==null?n:e(s==1||t[8]==0?n:t[1]+n)))}function Sm(i,e){return(t,n,s,r,o)=>{let a=e.find(g=>o>=g[0])||e[e.length-1],c,l,u,h,f,d;return n.map(g=>{let v=i(g),m=v.getFullYear(),p=v.getMonth(),y=v.getDate(),T=v.getHours(),S=v.getMinutes(),C=v.getSeconds(),E=m!=c&&a[2]||p!=l&&a[3]||y!=u&&a[4]||T!=h&&a[5]||S!=f&&a[6]||C!=d&&a[7]||a[1];return c=m,l=p,u=y,h=T,f=S,d=C,E(v)})}}function Dy(i,e){let t=ju(e);return(n,s,r,o,a)=>s.map(c=>t(i(c)))}function Lu(i,e,t){return new Date(i,e,t)}function bm(i,e){return e(i)}var Ny="{YYYY}-{MM}-{DD} {h}:{mm}{aa}";function Mm(i,e){return(t,n,s,r)=>r==null?qu:e(i(n))}function Uy(i,e){let t=i.series[e];return t.width?t.stroke(i,e):t.points.width?t.points.stroke(i,e):null}function Fy(i,e){return i.series[e].fill(i,e)}var Oy={show:!0,live:!0,isolate:!1,mount:ny,markers:{show:!0,width:2,stroke:Uy,fill:Fy,dash:"solid"},idx:null,idxs:null,values:[]};function By(i,e){let t=i.cursor.points,n=gi(),s=t.size(i,e);Gt(n,Go,s),Gt(n,Ho,s);let r=s/-2;Gt(n,"marginLeft",r),Gt(n,"marginTop",r);let o=t.width(i,e,s);return o&&Gt(n,"borderWidth",o),n}function ky(i,e){let t=i.series[e].points;return t._fill||t._stroke}function zy(i,e){let t=i.series[e].points;return t._stroke||t._fill}function Vy(i,e){return i.series[e].points.size}var Du=[0,0];function Gy(i,e,t){return Du[0]=e,Du[1]=t,Du}function fl(i,e,t,n=!0){return s=>{s.button==0&&(!n||s.target==e)&&t(s)}}function Nu(i,e,t,n=!0){return s=>{(!n||s.target==e)&&t(s)}}var Hy={show:!0,x:!0,y:!0,lock:!1,move:Gy,points:{one:!1,show:By,size:Vy,width:0,stroke:zy,fill:ky},bind:{mousedown:fl,mouseup:fl,click:fl,dblclick:fl,mousemove:Nu,mouseleave:Nu,mouseenter:Nu},drag:{setScale:!0,x:!0,y:!1,dist:0,uni:null,click:(i,e)=>{e.stopPropagation(),e.stopImmediatePropagation()},_x:!1,_y:!1},focus:{dist:(i,e,t,n,s)=>n-s,prox:-1,bias:0},hover:{skip:[void 0],prox:null,bias:0},left:-10,top:-10,idx:null,dataIdx:null,idxs:null,event:null},ig={show:!0,stroke:"rgba(0,0,0,0.07)",width:2},ef=un({},ig,{filter:Hm}),sg=un({},ef,{size:10}),rg=un({},ig,{show:!1}),tf='12px system-ui, -apple-system, "Segoe UI", Roboto, "Helvetica Neue", Arial, "Noto Sans", sans-serif, "Apple Color Emoji", "Segoe UI Emoji", "Segoe UI Symbol", "Noto Color Emoji"',og="bold "+tf,ag=1.5,wm={show:!0,scale:"x",stroke:Xu,space:50,gap:5,alignTo:1,size:50,labelGap:0,labelSize:30,labelFont:og,side:2,grid:ef,ticks:sg,border:rg,font:tf,lineGap:ag,rotate:0},Wy="Value",Xy="Time",Am={show:!0,scale:"x",auto:!1,sorted:1,min:Ut,max:-Ut,idxs:[]};function qy(i,e,t,n,s){return e.map(r=>r==null?"":Ju(r))}function Yy(i,e,t,n,s,r,o){let a=[],c=Ds.get(s)||0;t=o?t:Ft(yl(t,s),c);for(let l=t;l<=n;l=Ft(l+s,c))a.push(Object.is(l,-0)?0:l);return a}function zu(i,e,t,n,s,r,o){let a=[],c=i.scales[i.axes[e].scale].log,l=c==10?cs:zm,u=ri(l(t));s=Or(c,u),c==10&&(s=Qs[Ei(s,Qs)]);let h=t,f=s*c;c==10&&(f=Qs[Ei(f,Qs)]);do a.push(h),h=h+s,c==10&&!Ds.has(h)&&(h=Ft(h,Ds.get(s))),h>=f&&(s=h,f=s*c,c==10&&(f=Qs[Ei(f,Qs)]));while(h<=n);return a}function $y(i,e,t,n,s,r,o){let c=i.scales[i.axes[e].scale].asinh,l=n>c?zu(i,e,Xn(c,t),n,s):[c],u=n>=0&&t<=0?[0]:[];return(t<-c?zu(i,e,Xn(c,-n),-t,s):[c]).reverse().map(f=>-f).concat(u,l)}var lg=/./,Zy=/[12357]/,Jy=/[125]/,Em=/1/,Vu=(i,e,t,n)=>i.map((s,r)=>e==4&&s==0||r%n==0&&t.test(s.toExponential()[s<0?1:0])?s:null);function Ky(i,e,t,n,s){let r=i.axes[t],o=r.scale,a=i.scales[o],c=i.valToPos,l=r._space,u=c(10,o),h=c(9,o)-u>=l?lg:c(7,o)-u>=l?Zy:c(5,o)-u>=l?Jy:Em;if(h==Em){let f=gn(c(1,o)-u);if(f<l)return Vu(e.slice().reverse(),a.distr,h,_i(l/f)).reverse()}return Vu(e,a.distr,h,1)}function jy(i,e,t,n,s){let r=i.axes[t],o=r.scale,a=r._space,c=i.valToPos,l=gn(c(1,o)-c(2,o));return l<a?Vu(e.slice().reverse(),3,lg,_i(a/l)).reverse():e}function Qy(i,e,t,n){return n==null?qu:e==null?"":Ju(e)}var Tm={show:!0,scale:"y",stroke:Xu,space:30,gap:5,alignTo:1,size:50,labelGap:0,labelSize:30,labelFont:og,side:3,grid:ef,ticks:sg,border:rg,font:tf,lineGap:ag,rotate:0};function ev(i,e){let t=3+(i||1)*2;return Ft(t*e,3)}function tv(i,e){let{scale:t,idxs:n}=i.series[0],s=i._data[0],r=i.valToPos(s[n[0]],t,!0),o=i.valToPos(s[n[1]],t,!0),a=gn(o-r),c=i.series[e],l=a/(c.points.space*Mt);return n[1]-n[0]<=l}var Cm={scale:null,auto:!0,sorted:0,min:Ut,max:-Ut},cg=(i,e,t,n,s)=>s,Rm={show:!0,auto:!0,sorted:0,gaps:cg,alpha:1,facets:[un({},Cm,{scale:"x"}),un({},Cm,{scale:"y"})]},Pm={scale:"y",auto:!0,sorted:0,show:!0,spanGaps:!1,gaps:cg,alpha:1,points:{show:tv,filter:null},values:null,min:Ut,max:-Ut,idxs:[],path:null,clip:null};function nv(i,e,t,n,s){return t/10}var hg={time:!0,auto:!0,distr:1,log:10,asinh:1,min:null,max:null,dir:1,ori:0},iv=un({},hg,{time:!1,ori:1}),Im={};function ug(i,e){let t=Im[i];return t||(t={key:i,plots:[],sub(n){t.plots.push(n)},unsub(n){t.plots=t.plots.filter(s=>s!=n)},pub(n,s,r,o,a,c,l){for(let u=0;u<t.plots.length;u++)t.plots[u]!=s&&t.plots[u].pub(n,s,r,o,a,c,l)}},i!=null&&(Im[i]=t)),t}var zr=1,Gu=2;function ir(i,e,t){let n=i.mode,s=i.series[e],r=n==2?i._data[e]:i._data,o=i.scales,a=i.bbox,c=r[0],l=n==2?r[1]:r[e],u=n==2?o[s.facets[0].scale]:o[i.series[0].scale],h=n==2?o[s.facets[1].scale]:o[s.scale],f=a.left,d=a.top,g=a.width,v=a.height,m=i.valToPosH,p=i.valToPosV;return u.ori==0?t(s,c,l,u,h,m,p,f,d,g,v,bl,Gr,wl,dg,mg):t(s,c,l,u,h,p,m,d,f,v,g,Ml,Hr,rf,pg,gg)}function nf(i,e){let t=0,n=0,s=St(i.bands,Ku);for(let r=0;r<s.length;r++){let o=s[r];o.series[0]==e?t=o.dir:o.series[1]==e&&(o.dir==1?n|=1:n|=2)}return[t,n==1?-1:n==2?1:n==3?2:0]}function sv(i,e,t,n,s){let r=i.mode,o=i.series[e],a=r==2?o.facets[1].scale:o.scale,c=i.scales[a];return s==-1?c.min:s==1?c.max:c.distr==3?c.dir==1?c.min:c.max:0}function hs(i,e,t,n,s,r){return ir(i,e,(o,a,c,l,u,h,f,d,g,v,m)=>{let p=o.pxRound,y=l.dir*(l.ori==0?1:-1),T=l.ori==0?Gr:Hr,S,C;y==1?(S=t,C=n):(S=n,C=t);let E=p(h(a[S],l,v,d)),x=p(f(c[S],u,m,g)),A=p(h(a[C],l,v,d)),F=p(f(r==1?u.max:u.min,u,m,g)),L=new Path2D(s);return T(L,A,F),T(L,E,F),T(L,E,x),L})}function Sl(i,e,t,n,s,r){let o=null;if(i.length>0){o=new Path2D;let a=e==0?wl:rf,c=t;for(let h=0;h<i.length;h++){let f=i[h];if(f[1]>f[0]){let d=f[0]-c;d>0&&a(o,c,n,d,n+r),c=f[1]}}let l=t+s-c,u=10;l>0&&a(o,c,n-u/2,l,n+r+u)}return o}function rv(i,e,t){let n=i[i.length-1];n&&n[0]==e?n[1]=t:i.push([e,t])}function sf(i,e,t,n,s,r,o){let a=[],c=i.length;for(let l=s==1?t:n;l>=t&&l<=n;l+=s)if(e[l]===null){let h=l,f=l;if(s==1)for(;++l<=n&&e[l]===null;)f=l;else for(;--l>=t&&e[l]===null;)f=l;let d=r(i[h]),g=f==h?d:r(i[f]),v=h-s;d=o<=0&&v>=0&&v<c?r(i[v]):d;let p=f+s;g=o>=0&&p>=0&&p<c?r(i[p]):g,g>=d&&a.push([d,g])}return a}function Lm(i){return i==0?Gm:i==1?mn:e=>js(e,i)}function fg(i){let e=i==0?bl:Ml,t=i==0?(s,r,o,a,c,l)=>{s.arcTo(r,o,a,c,l)}:(s,r,o,a,c,l)=>{s.arcTo(o,r,c,a,l)},n=i==0?(s,r,o,a,c)=>{s.rect(r,o,a,c)}:(s,r,o,a,c)=>{s.rect(o,r,c,a)};return(s,r,o,a,c,l=0,u=0)=>{l==0&&u==0?n(s,r,o,a,c):(l=Ti(l,a/2,c/2),u=Ti(u,a/2,c/2),e(s,r+l,o),t(s,r+a,o,r+a,o+c,l),t(s,r+a,o+c,r,o+c,u),t(s,r,o+c,r,o,u),t(s,r,o,r+a,o,l),s.closePath())}}var bl=(i,e,t)=>{i.moveTo(e,t)},Ml=(i,e,t)=>{i.moveTo(t,e)},Gr=(i,e,t)=>{i.lineTo(e,t)},Hr=(i,e,t)=>{i.lineTo(t,e)},wl=fg(0),rf=fg(1),dg=(i,e,t,n,s,r)=>{i.arc(e,t,n,s,r)},pg=(i,e,t,n,s,r)=>{i.arc(t,e,n,s,r)},mg=(i,e,t,n,s,r,o)=>{i.bezierCurveTo(e,t,n,s,r,o)},gg=(i,e,t,n,s,r,o)=>{i.bezierCurveTo(t,e,s,n,o,r)};function _g(i){return(e,t,n,s,r)=>ir(e,t,(o,a,c,l,u,h,f,d,g,v,m)=>{let{pxRound:p,points:y}=o,T,S;l.ori==0?(T=bl,S=dg):(T=Ml,S=pg);let C=Ft(y.width*Mt,3),E=(y.size-y.width)/2*Mt,x=Ft(E*2,3),A=new Path2D,F=new Path2D,{left:L,top:I,width:k,height:V}=e.bbox;wl(F,L-x,I-x,k+x*2,V+x*2);let N=W=>{if(c[W]!=null){let $=p(h(a[W],l,v,d)),H=p(f(c[W],u,m,g));T(A,$+E,H),S(A,$,H,E,0,dl*2)}};if(r)r.forEach(N);else for(let W=n;W<=s;W++)N(W);return{stroke:C>0?A:null,fill:A,clip:F,flags:zr|Gu}})}function xg(i){return(e,t,n,s,r,o)=>{n!=s&&(r!=n&&o!=n&&i(e,t,n),r!=s&&o!=s&&i(e,t,s),i(e,t,o))}}var ov=xg(Gr),av=xg(Hr);function yg(i){let e=St(i?.alignGaps,0);return(t,n,s,r)=>ir(t,n,(o,a,c,l,u,h,f,d,g,v,m)=>{[s,r]=_l(c,s,r);let p=o.pxRound,y=V=>p(h(V,l,v,d)),T=V=>p(f(V,u,m,g)),S,C;l.ori==0?(S=Gr,C=ov):(S=Hr,C=av);let E=l.dir*(l.ori==0?1:-1),x={stroke:new Path2D,fill:null,clip:null,band:null,gaps:null,flags:zr},A=x.stroke,F=!1;if(r-s>=v*4){let V=ue=>t.posToVal(ue,l.key,!0),N=null,W=null,$,H,ce,K=y(a[E==1?s:r]),Q=y(a[s]),se=y(a[r]),fe=V(E==1?Q+1:se-1);for(let ue=E==1?s:r;ue>=s&&ue<=r;ue+=E){let ee=a[ue],xe=(E==1?ee<fe:ee>fe)?K:y(ee),Te=c[ue];xe==K?Te!=null?(H=Te,N==null?(S(A,xe,T(H)),$=N=W=H):H<N?N=H:H>W&&(W=H)):Te===null&&(F=!0):(N!=null&&C(A,K,T(N),T(W),T($),T(H)),Te!=null?(H=Te,S(A,xe,T(H)),N=W=$=H):(N=W=null,Te===null&&(F=!0)),K=xe,fe=V(K+E))}N!=null&&N!=W&&ce!=K&&C(A,K,T(N),T(W),T($),T(H))}else for(let V=E==1?s:r;V>=s&&V<=r;V+=E){let N=c[V];N===null?F=!0:N!=null&&S(A,y(a[V]),T(N))}let[I,k]=nf(t,n);if(o.fill!=null||I!=0){let V=x.fill=new Path2D(A),N=o.fillTo(t,n,o.min,o.max,I),W=T(N),$=y(a[s]),H=y(a[r]);E==-1&&([H,$]=[$,H]),S(V,H,W),S(V,$,W)}if(!o.spanGaps){let V=[];F&&V.push(...sf(a,c,s,r,E,y,e)),x.gaps=V=o.gaps(t,n,s,r,V),x.clip=Sl(V,l.ori,d,g,v,m)}return k!=0&&(x.band=k==2?[hs(t,n,s,r,A,-1),hs(t,n,s,r,A,1)]:hs(t,n,s,r,A,k)),x})}function lv(i){let e=St(i.align,1),t=St(i.ascDesc,!1),n=St(i.alignGaps,0),s=St(i.extend,!1);return(r,o,a,c)=>ir(r,o,(l,u,h,f,d,g,v,m,p,y,T)=>{[a,c]=_l(h,a,c);let S=l.pxRound,{left:C,width:E}=r.bbox,x=Q=>S(g(Q,f,y,m)),A=Q=>S(v(Q,d,T,p)),F=f.ori==0?Gr:Hr,L={stroke:new Path2D,fill:null,clip:null,band:null,gaps:null,flags:zr},I=L.stroke,k=f.dir*(f.ori==0?1:-1),V=A(h[k==1?a:c]),N=x(u[k==1?a:c]),W=N,$=N;s&&e==-1&&($=C,F(I,$,V)),F(I,N,V);for(let Q=k==1?a:c;Q>=a&&Q<=c;Q+=k){let se=h[Q];if(se==null)continue;let fe=x(u[Q]),ue=A(se);e==1?F(I,fe,V):F(I,W,ue),F(I,fe,ue),V=ue,W=fe}let H=W;s&&e==1&&(H=C+E,F(I,H,V));let[ce,K]=nf(r,o);if(l.fill!=null||ce!=0){let Q=L.fill=new Path2D(I),se=l.fillTo(r,o,l.min,l.max,ce),fe=A(se);F(Q,H,fe),F(Q,$,fe)}if(!l.spanGaps){let Q=[];Q.push(...sf(u,h,a,c,k,x,n));let se=l.width*Mt/2,fe=t||e==1?se:-se,ue=t||e==-1?-se:se;Q.forEach(ee=>{ee[0]+=fe,ee[1]+=ue}),L.gaps=Q=l.gaps(r,o,a,c,Q),L.clip=Sl(Q,f.ori,m,p,y,T)}return K!=0&&(L.band=K==2?[hs(r,o,a,c,I,-1),hs(r,o,a,c,I,1)]:hs(r,o,a,c,I,K)),L})}function Dm(i,e,t,n,s,r,o=Ut){if(i.length>1){let a=null;for(let c=0,l=1/0;c<i.length;c++)if(e[c]!==void 0){if(a!=null){let u=gn(i[c]-i[a]);u<l&&(l=u,o=gn(t(i[c],n,s,r)-t(i[a],n,s,r)))}a=c}}return o}function cv(i){i=i||qo;let e=St(i.size,[.6,Ut,1]),t=i.align||0,n=i.gap||0,s=i.radius;s=s==null?[0,0]:typeof s=="number"?[s,0]:s;let r=_t(s),o=1-e[0],a=St(e[1],Ut),c=St(e[2],1),l=St(i.disp,qo),u=St(i.each,d=>{}),{fill:h,stroke:f}=l;return(d,g,v,m)=>ir(d,g,(p,y,T,S,C,E,x,A,F,L,I)=>{let k=p.pxRound,V=t,N=n*Mt,W=a*Mt,$=c*Mt,H,ce;S.ori==0?[H,ce]=r(d,g):[ce,H]=r(d,g);let K=S.dir*(S.ori==0?1:-1),Q=S.ori==0?wl:rf,se=S.ori==0?u:(Re,$e,rt,Me,Nt,ze,qe)=>{u(Re,$e,rt,Nt,Me,qe,ze)},fe=St(d.bands,Ku).find(Re=>Re.series[0]==g),ue=fe!=null?fe.dir:0,ee=p.fillTo(d,g,p.min,p.max,ue),me=k(x(ee,C,I,F)),xe,Te,be,We=L,st=k(p.width*Mt),Ve=!1,ut=null,lt=null,nt=null,Wt=null;h!=null&&(st==0||f!=null)&&(Ve=!0,ut=h.values(d,g,v,m),lt=new Map,new Set(ut).forEach(Re=>{Re!=null&&lt.set(Re,new Path2D)}),st>0&&(nt=f.values(d,g,v,m),Wt=new Map,new Set(nt).forEach(Re=>{Re!=null&&Wt.set(Re,new Path2D)})));let{x0:Ot,size:rn}=l;if(Ot!=null&&rn!=null){V=1,y=Ot.values(d,g,v,m),Ot.unit==2&&(y=y.map(rt=>d.posToVal(A+rt*L,S.key,!0)));let Re=rn.values(d,g,v,m);rn.unit==2?Te=Re[0]*L:Te=E(Re[0],S,L,A)-E(0,S,L,A),We=Dm(y,T,E,S,L,A,We),be=We-Te+N}else We=Dm(y,T,E,S,L,A,We),be=We*o+N,Te=We-be;be<1&&(be=0),st>=Te/2&&(st=0),be<5&&(k=Gm);let It=be>0,vn=We-be-(It?st:0);Te=k(ku(vn,$,W)),xe=(V==0?Te/2:V==K?0:Te)-V*K*((V==0?N/2:0)+(It?st/2:0));let yt={stroke:null,fill:null,clip:null,band:null,gaps:null,flags:0},dn=Ve?null:new Path2D,Yt=null;if(fe!=null)Yt=d.data[fe.series[1]];else{let{y0:Re,y1:$e}=l;Re!=null&&$e!=null&&(T=$e.values(d,g,v,m),Yt=Re.values(d,g,v,m))}let on=H*Te,B=ce*Te;for(let Re=K==1?v:m;Re>=v&&Re<=m;Re+=K){let $e=T[Re];if($e==null)continue;if(Yt!=null){let q=Yt[Re]??0;if($e-q==0)continue;me=x(q,C,I,F)}let rt=S.distr!=2||l!=null?y[Re]:Re,Me=E(rt,S,L,A),Nt=x(St($e,ee),C,I,F),ze=k(Me-xe),qe=k(Xn(Nt,me)),R=k(Ti(Nt,me)),b=qe-R;if($e!=null){let q=$e<0?B:on,he=$e<0?on:B;Ve?(st>0&&nt[Re]!=null&&Q(Wt.get(nt[Re]),ze,R+ri(st/2),Te,Xn(0,b-st),q,he),ut[Re]!=null&&Q(lt.get(ut[Re]),ze,R+ri(st/2),Te,Xn(0,b-st),q,he)):Q(dn,ze,R+ri(st/2),Te,Xn(0,b-st),q,he),se(d,g,Re,ze-st/2,R,Te+st,b)}}return st>0?yt.stroke=Ve?Wt:dn:Ve||(yt._fill=p.width==0?p._fill:p._stroke??p._fill,yt.width=0),yt.fill=Ve?lt:dn,yt})}function hv(i,e){let t=St(e?.alignGaps,0);return(n,s,r,o)=>ir(n,s,(a,c,l,u,h,f,d,g,v,m,p)=>{[r,o]=_l(l,r,o);let y=a.pxRound,T=H=>y(f(H,u,m,g)),S=H=>y(d(H,h,p,v)),C,E,x;u.ori==0?(C=bl,x=Gr,E=mg):(C=Ml,x=Hr,E=gg);let A=u.dir*(u.ori==0?1:-1),F=T(c[A==1?r:o]),L=F,I=[],k=[];for(let H=A==1?r:o;H>=r&&H<=o;H+=A)if(l[H]!=null){let K=c[H],Q=T(K);I.push(L=Q),k.push(S(l[H]))}let V={stroke:i(I,k,C,x,E,y),fill:null,clip:null,band:null,gaps:null,flags:zr},N=V.stroke,[W,$]=nf(n,s);if(a.fill!=null||W!=0){let H=V.fill=new Path2D(N),ce=a.fillTo(n,s,a.min,a.max,W),K=S(ce);x(H,L,K),x(H,F,K)}if(!a.spanGaps){let H=[];H.push(...sf(c,l,r,o,A,T,t)),V.gaps=H=a.gaps(n,s,r,o,H),V.clip=Sl(H,u.ori,g,v,m,p)}return $!=0&&(V.band=$==2?[hs(n,s,r,o,N,-1),hs(n,s,r,o,N,1)]:hs(n,s,r,o,N,$)),V})}function uv(i){return hv(fv,i)}function fv(i,e,t,n,s,r){let o=i.length;if(o<2)return null;let a=new Path2D;if(t(a,i[0],e[0]),o==2)n(a,i[1],e[1]);else{let c=Array(o),l=Array(o-1),u=Array(o-1),h=Array(o-1);for(let f=0;f<o-1;f++)u[f]=e[f+1]-e[f],h[f]=i[f+1]-i[f],l[f]=u[f]/h[f];c[0]=l[0];for(let f=1;f<o-1;f++)l[f]===0||l[f-1]===0||l[f-1]>0!=l[f]>0?c[f]=0:(c[f]=3*(h[f-1]+h[f])/((2*h[f]+h[f-1])/l[f-1]+(h[f]+2*h[f-1])/l[f]),isFinite(c[f])||(c[f]=0));c[o-1]=l[o-2];for(let f=0;f<o-1;f++)s(a,i[f]+h[f]/3,e[f]+c[f]*h[f]/3,i[f+1]-h[f]/3,e[f+1]-c[f+1]*h[f]/3,i[f+1],e[f+1])}return a}var Hu=new Set;function Nm(){for(let i of Hu)i.syncRect(!0)}Vr&&(tr(qx,Fr,Nm),tr(Yx,Fr,Nm,!0),tr(pl,Fr,()=>{An.pxRatio=Mt}));var dv=yg(),pv=_g();function Um(i,e,t,n){return(n?[i[0],i[1]].concat(i.slice(2)):[i[0]].concat(i.slice(1))).map((r,o)=>Wu(r,o,e,t))}function mv(i,e){return i.map((t,n)=>n==0?{}:un({},e,t))}function Wu(i,e,t,n){return un({},e==0?t:n,i)}function vg(i,e,t){return e==null?Br:[e,t]}var gv=vg;function _v(i,e,t){return e==null?Br:ml(e,t,Zu,!0)}function Sg(i,e,t,n){return e==null?Br:xl(e,t,i.scales[n].log,!1)}var xv=Sg;function bg(i,e,t,n){return e==null?Br:$u(e,t,i.scales[n].log,!1)}var yv=bg;function vv(i,e,t,n,s){let r=Xn(dm(i),dm(e)),o=e-i,a=Ei(s/n*o,t);do{let c=t[a],l=n*c/o;if(l>=s&&r+(c<5?Ds.get(c):0)<=17)return[c,l]}while(++a<t.length);return[0,0]}function Fm(i){let e,t;return i=i.replace(/(\d+)px/,(n,s)=>(e=mn((t=+s)*Mt))+"px"),[i,e,t]}function Sv(i){i.show&&[i.font,i.labelFont].forEach(e=>{let t=Ft(e[2]*Mt,1);e[0]=e[0].replace(/[0-9.]+px/,t+"px"),e[1]=t})}function An(i,e,t){let n={mode:St(i.mode,1)},s=n.mode;function r(_,M,P,D){let G=M.valToPct(_);return D+P*(M.dir==-1?1-G:G)}function o(_,M,P,D){let G=M.valToPct(_);return D+P*(M.dir==-1?G:1-G)}function a(_,M,P,D){return M.ori==0?r(_,M,P,D):o(_,M,P,D)}n.valToPosH=r,n.valToPosV=o;let c=!1;n.status=0;let l=n.root=gi(Cx);if(i.id!=null&&(l.id=i.id),si(l,i.class),i.title){let _=gi(Ix,l);_.textContent=i.title}let u=Ai("canvas"),h=n.ctx=u.getContext("2d"),f=gi(Lx,l);tr("click",f,_=>{_.target===g&&(kt!=wr||Xt!=Ar)&&Rn.click(n,_)},!0);let d=n.under=gi(Dx,f);f.appendChild(u);let g=n.over=gi(Nx,f);i=kr(i);let v=+St(i.pxAlign,1),m=Lm(v);(i.plugins||[]).forEach(_=>{_.opts&&(i=_.opts(n,i)||i)});let p=i.ms||.001,y=n.series=s==1?Um(i.series||[],Am,Pm,!1):mv(i.series||[null],Rm),T=n.axes=Um(i.axes||[],wm,Tm,!0),S=n.scales={},C=n.bands=i.bands||[];C.forEach(_=>{_.fill=_t(_.fill||null),_.dir=St(_.dir,-1)});let E=s==2?y[1].facets[0].scale:y[0].scale,x={axes:rs,series:dt},A=(i.drawOrder||["axes","series"]).map(_=>x[_]);function F(_){let M=_.distr==3?P=>cs(P>0?P:_.clamp(n,P,_.min,_.max,_.key)):_.distr==4?P=>Iu(P,_.asinh):_.distr==100?P=>_.fwd(P):P=>P;return P=>{let D=M(P),{_min:G,_max:J}=_,ae=J-G;return(D-G)/ae}}function L(_){let M=S[_];if(M==null){let P=(i.scales||qo)[_]||qo;if(P.from!=null){L(P.from);let D=un({},S[P.from],P,{key:_});D.valToPct=F(D),S[_]=D}else{M=S[_]=un({},_==E?hg:iv,P),M.key=_;let D=M.time,G=M.range,J=Ls(G);if((_!=E||s==2&&!D)&&(J&&(G[0]==null||G[1]==null)&&(G={min:G[0]==null?hm:{mode:1,hard:G[0],soft:G[0]},max:G[1]==null?hm:{mode:1,hard:G[1],soft:G[1]}},J=!1),!J&&vl(G))){let ae=G;G=(de,ve,De)=>ve==null?Br:ml(ve,De,ae)}M.range=_t(G||(D?gv:_==E?M.distr==3?xv:M.distr==4?yv:vg:M.distr==3?Sg:M.distr==4?bg:_v)),M.auto=_t(J?!1:M.auto),M.clamp=_t(M.clamp||nv),M._min=M._max=null,M.valToPct=F(M)}}}L("x"),L("y"),s==1&&y.forEach(_=>{L(_.scale)}),T.forEach(_=>{L(_.scale)});for(let _ in i.scales)L(_);let I=S[E],k=I.distr,V,N;I.ori==0?(si(l,Rx),V=r,N=o):(si(l,Px),V=o,N=r);let W={};for(let _ in S){let M=S[_];(M.min!=null||M.max!=null)&&(W[_]={min:M.min,max:M.max},M.min=M.max=null)}let $=i.tzDate||(_=>new Date(mn(_/p))),H=i.fmtDate||ju,ce=p==1?Ry($):Ly($),K=Sm($,vm(p==1?Cy:Iy,H)),Q=Mm($,bm(Ny,H)),se=[],fe=n.legend=un({},Oy,i.legend),ue=n.cursor=un({},Hy,{drag:{y:s==2}},i.cursor),ee=fe.show,me=ue.show,xe=fe.markers;fe.idxs=se,xe.width=_t(xe.width),xe.dash=_t(xe.dash),xe.stroke=_t(xe.stroke),xe.fill=_t(xe.fill);let Te,be,We,st=[],Ve=[],ut,lt=!1,nt={};if(fe.live){let _=y[1]?y[1].values:null;lt=_!=null,ut=lt?_(n,1,0):{_:0};for(let M in ut)nt[M]=qu}if(ee)if(Te=Ai("table",zx,l),We=Ai("tbody",null,Te),fe.mount(n,Te),lt){be=Ai("thead",null,Te,We);let _=Ai("tr",null,be);Ai("th",null,_);for(var Wt in ut)Ai("th",Kp,_).textContent=Wt}else si(Te,Gx),fe.live&&si(Te,Vx);let Ot={show:!0},rn={show:!1};function It(_,M){if(M==0&&(lt||!fe.live||s==2))return Br;let P=[],D=Ai("tr",Hx,We,We.childNodes[M]);si(D,_.class),_.show||si(D,er);let G=Ai("th",null,D);if(xe.show){let de=gi(Wx,G);if(M>0){let ve=xe.width(n,M);ve&&(de.style.border=ve+"px "+xe.dash(n,M)+" "+xe.stroke(n,M)),de.style.background=xe.fill(n,M)}}let J=gi(Kp,G);_.label instanceof HTMLElement?J.appendChild(_.label):J.textContent=_.label,M>0&&(xe.show||(J.style.color=_.width>0?xe.stroke(n,M):xe.fill(n,M)),yt("click",G,de=>{if(ue._lock)return;Je(de);let ve=y.indexOf(_);if((de.ctrlKey||de.metaKey)!=fe.isolate){let De=y.some((Ne,Fe)=>Fe>0&&Fe!=ve&&Ne.show);y.forEach((Ne,Fe)=>{Fe>0&&Vi(Fe,De?Fe==ve?Ot:rn:Ot,!0,hn.setSeries)})}else Vi(ve,{show:!_.show},!0,hn.setSeries)},!1),Ke&&yt(tm,G,de=>{ue._lock||(Je(de),Vi(y.indexOf(_),Tr,!0,hn.setSeries))},!1));for(var ae in ut){let de=Ai("td",Xx,D);de.textContent="--",P.push(de)}return[D,P]}let vn=new Map;function yt(_,M,P,D=!0){let G=vn.get(M)||{},J=ue.bind[_](n,M,P,D);J&&(tr(_,M,G[_]=J),vn.set(M,G))}function dn(_,M,P){let D=vn.get(M)||{};for(let G in D)(_==null||G==_)&&(Bu(G,M,D[G]),delete D[G]);_==null&&vn.delete(M)}let Yt=0,on=0,B=0,Re=0,$e=0,rt=0,Me=$e,Nt=rt,ze=B,qe=Re,R=0,b=0,q=0,he=0;n.bbox={};let oe=!1,_e=!1,ye=!1,te=!1,ie=!1,pe=!1;function O(_,M,P){(P||_!=n.width||M!=n.height)&&re(_,M),ct(!1),ye=!0,_e=!0,Fn()}function re(_,M){n.width=Yt=B=_,n.height=on=Re=M,$e=rt=0,Se(),Ge();let P=n.bbox;R=P.left=js($e*Mt,.5),b=P.top=js(rt*Mt,.5),q=P.width=js(B*Mt,.5),he=P.height=js(Re*Mt,.5)}let ne=3;function we(){let _=!1,M=0;for(;!_;){M++;let P=Sr(M),D=zi(M);_=M==ne||P&&D,_||(re(n.width,n.height),_e=!0)}}function ge({width:_,height:M}){O(_,M)}n.setSize=ge;function Se(){let _=!1,M=!1,P=!1,D=!1;T.forEach((G,J)=>{if(G.show&&G._show){let{side:ae,_size:de}=G,ve=ae%2,De=G.label!=null?G.labelSize:0,Ne=de+De;Ne>0&&(ve?(B-=Ne,ae==3?($e+=Ne,D=!0):P=!0):(Re-=Ne,ae==0?(rt+=Ne,_=!0):M=!0))}}),Bi[0]=_,Bi[1]=P,Bi[2]=M,Bi[3]=D,B-=Si[1]+Si[3],$e+=Si[3],Re-=Si[2]+Si[0],rt+=Si[0]}function Ge(){let _=$e+B,M=rt+Re,P=$e,D=rt;function G(J,ae){switch(J){case 1:return _+=ae,_-ae;case 2:return M+=ae,M-ae;case 3:return P-=ae,P+ae;case 0:return D-=ae,D+ae}}T.forEach((J,ae)=>{if(J.show&&J._show){let de=J.side;J._pos=G(de,J._size),J.label!=null&&(J._lpos=G(de,J.labelSize))}})}if(ue.dataIdx==null){let _=ue.hover,M=_.skip=new Set(_.skip??[]);M.add(void 0);let P=_.prox=_t(_.prox),D=_.bias??(_.bias=0);ue.dataIdx=(G,J,ae,de)=>{if(J==0)return ae;let ve=ae,De=P(G,J,ae,de)??Ut,Ne=De>=0&&De<Ut,Fe=I.ori==0?B:Re,it=ue.left,bt=e[0],vt=e[J];if(M.has(vt[ae])){ve=null;let pt=null,Ze=null,Xe;if(D==0||D==-1)for(Xe=ae;pt==null&&Xe-- >0;)M.has(vt[Xe])||(pt=Xe);if(D==0||D==1)for(Xe=ae;Ze==null&&Xe++<vt.length;)M.has(vt[Xe])||(Ze=Xe);if(pt!=null||Ze!=null)if(Ne){let Vt=pt==null?-1/0:V(bt[pt],I,Fe,0),Jt=Ze==null?1/0:V(bt[Ze],I,Fe,0),wn=it-Vt,Lt=Jt-it;wn<=Lt?wn<=De&&(ve=pt):Lt<=De&&(ve=Ze)}else ve=Ze==null?pt:pt==null?Ze:ae-pt<=Ze-ae?pt:Ze}else Ne&&gn(it-V(bt[ae],I,Fe,0))>De&&(ve=null);return ve}}let Je=_=>{ue.event=_};ue.idxs=se,ue._lock=!1;let le=ue.points;le.show=_t(le.show),le.size=_t(le.size),le.stroke=_t(le.stroke),le.width=_t(le.width),le.fill=_t(le.fill);let Oe=n.focus=un({},i.focus||{alpha:.3},ue.focus),Ke=Oe.prox>=0,Ce=Ke&&le.one,at=[],Bt=[],zn=[];function Co(_,M){let P=le.show(n,M);if(P instanceof HTMLElement)return si(P,kx),si(P,_.class),Xi(P,-10,-10,B,Re),g.insertBefore(P,at[M]),P}function xr(_,M){if(s==1||M>0){let P=s==1&&S[_.scale].time,D=_.value;_.value=P?gm(D)?Mm($,bm(D,H)):D||Q:D||Qy,_.label=_.label||(P?Xy:Wy)}if(Ce||M>0){_.width=_.width==null?1:_.width,_.paths=_.paths||dv||iy,_.fillTo=_t(_.fillTo||sv),_.pxAlign=+St(_.pxAlign,v),_.pxRound=Lm(_.pxAlign),_.stroke=_t(_.stroke||null),_.fill=_t(_.fill||null),_._stroke=_._fill=_._paths=_._focus=null;let P=ev(Xn(1,_.width),1),D=_.points=un({},{size:P,width:Xn(1,P*.2),stroke:_.stroke,space:P*2,paths:pv,_stroke:null,_fill:null},_.points);D.show=_t(D.show),D.filter=_t(D.filter),D.fill=_t(D.fill),D.stroke=_t(D.stroke),D.paths=_t(D.paths),D.pxAlign=_.pxAlign}if(ee){let P=It(_,M);st.splice(M,0,P[0]),Ve.splice(M,0,P[1]),fe.values.push(null)}if(me){se.splice(M,0,null);let P=null;Ce?M==0&&(P=Co(_,M)):M>0&&(P=Co(_,M)),at.splice(M,0,P),Bt.splice(M,0,0),zn.splice(M,0,0)}Mn("addSeries",M)}function ru(_,M){M=M??y.length,_=s==1?Wu(_,M,Am,Pm):Wu(_,M,{},Rm),y.splice(M,0,_),xr(y[M],M)}n.addSeries=ru;function Ja(_){if(y.splice(_,1),ee){fe.values.splice(_,1),Ve.splice(_,1);let M=st.splice(_,1)[0];dn(null,M.firstChild),M.remove()}me&&(se.splice(_,1),at.splice(_,1)[0].remove(),Bt.splice(_,1),zn.splice(_,1)),Mn("delSeries",_)}n.delSeries=Ja;let Bi=[!1,!1,!1,!1];function ns(_,M){if(_._show=_.show,_.show){let P=_.side%2,D=S[_.scale];D==null&&(_.scale=P?y[1].scale:E,D=S[_.scale]);let G=D.time;_.size=_t(_.size),_.space=_t(_.space),_.rotate=_t(_.rotate),Ls(_.incrs)&&_.incrs.forEach(ae=>{!Ds.has(ae)&&Ds.set(ae,Xm(ae))}),_.incrs=_t(_.incrs||(D.distr==2?Ay:G?p==1?Ty:Py:Qs)),_.splits=_t(_.splits||(G&&D.distr==1?ce:D.distr==3?zu:D.distr==4?$y:Yy)),_.stroke=_t(_.stroke),_.grid.stroke=_t(_.grid.stroke),_.ticks.stroke=_t(_.ticks.stroke),_.border.stroke=_t(_.border.stroke);let J=_.values;_.values=Ls(J)&&!Ls(J[0])?_t(J):G?Ls(J)?Sm($,vm(J,H)):gm(J)?Dy($,J):J||K:J||qy,_.filter=_t(_.filter||(D.distr>=3&&D.log==10?Ky:D.distr==3&&D.log==2?jy:Hm)),_.font=Fm(_.font),_.labelFont=Fm(_.labelFont),_._size=_.size(n,null,M,0),_._space=_._rotate=_._incrs=_._found=_._splits=_._values=null,_._size>0&&(Bi[M]=!0,_._el=gi(Ux,f))}}function is(_,M,P,D){let[G,J,ae,de]=P,ve=M%2,De=0;return ve==0&&(de||J)&&(De=M==0&&!G||M==2&&!ae?mn(wm.size/3):0),ve==1&&(G||ae)&&(De=M==1&&!J||M==3&&!de?mn(Tm.size/2):0),De}let Ro=n.padding=(i.padding||[is,is,is,is]).map(_=>_t(St(_,is))),Si=n._padding=Ro.map((_,M)=>_(n,M,Bi,0)),$t,tn=null,nn=null,ki=s==1?y[0].idxs:null,Qn=null,As=!1;function Po(_,M){if(e=_??[],n.data=n._data=e,s==2){$t=0;for(let P=1;P<y.length;P++)$t+=e[P][0].length}else{e.length==0&&(n.data=n._data=e=[[]]),Qn=e[0],$t=Qn.length;let P=e;if(k==2){P=e.slice();let D=P[0]=Array($t);for(let G=0;G<$t;G++)D[G]=G}n._data=e=P}if(ct(!0),Mn("setData"),k==2&&(ye=!0),M!==!1){let P=I;P.auto(n,As)?Io():Cs(E,P.min,P.max),te=te||ue.left>=0,pe=!0,Fn()}}n.setData=Po;function Io(){As=!0;let _,M;s==1&&($t>0?(tn=ki[0]=0,nn=ki[1]=$t-1,_=e[0][tn],M=e[0][nn],k==2?(_=tn,M=nn):_==M&&(k==3?[_,M]=xl(_,_,I.log,!1):k==4?[_,M]=$u(_,_,I.log,!1):I.time?M=_+mn(86400/p):[_,M]=ml(_,M,Zu,!0))):(tn=ki[0]=_=null,nn=ki[1]=M=null)),Cs(E,_,M)}let yr,Es,vr,w,z,j,Y,Z,Ae,Ie;function Ee(_,M,P,D,G,J){_??(_=Qp),P??(P=Ku),D??(D="butt"),G??(G=Qp),J??(J="round"),_!=yr&&(h.strokeStyle=yr=_),G!=Es&&(h.fillStyle=Es=G),M!=vr&&(h.lineWidth=vr=M),J!=z&&(h.lineJoin=z=J),D!=j&&(h.lineCap=j=D),P!=w&&h.setLineDash(w=P)}function Le(_,M,P,D){M!=Es&&(h.fillStyle=Es=M),_!=Y&&(h.font=Y=_),P!=Z&&(h.textAlign=Z=P),D!=Ae&&(h.textBaseline=Ae=D)}function ke(_,M,P,D,G=0){if(D.length>0&&_.auto(n,As)&&(M==null||M.min==null)){let J=St(tn,0),ae=St(nn,D.length-1),de=P.min==null?Kx(D,J,ae,G,_.distr==3):[P.min,P.max];_.min=Ti(_.min,P.min=de[0]),_.max=Xn(_.max,P.max=de[1])}}let Qe={min:null,max:null};function ft(){for(let D in S){let G=S[D];W[D]==null&&(G.min==null||W[E]!=null&&G.auto(n,As))&&(W[D]=Qe)}for(let D in S){let G=S[D];W[D]==null&&G.from!=null&&W[G.from]!=null&&(W[D]=Qe)}W[E]!=null&&ct(!0);let _={};for(let D in W){let G=W[D];if(G!=null){let J=_[D]=kr(S[D],oy);if(G.min!=null)un(J,G);else if(D!=E||s==2)if($t==0&&J.from==null){let ae=J.range(n,null,null,D);J.min=ae[0],J.max=ae[1]}else J.min=Ut,J.max=-Ut}}if($t>0){y.forEach((D,G)=>{if(s==1){let J=D.scale,ae=W[J];if(ae==null)return;let de=_[J];if(G==0){let ve=de.range(n,de.min,de.max,J);de.min=ve[0],de.max=ve[1],tn=Ei(de.min,e[0]),nn=Ei(de.max,e[0]),nn-tn>1&&(e[0][tn]<de.min&&tn++,e[0][nn]>de.max&&nn--),D.min=Qn[tn],D.max=Qn[nn]}else D.show&&D.auto&&ke(de,ae,D,e[G],D.sorted);D.idxs[0]=tn,D.idxs[1]=nn}else if(G>0&&D.show&&D.auto){let[J,ae]=D.facets,de=J.scale,ve=ae.scale,[De,Ne]=e[G],Fe=_[de],it=_[ve];Fe!=null&&ke(Fe,W[de],J,De,J.sorted),it!=null&&ke(it,W[ve],ae,Ne,ae.sorted),D.min=ae.min,D.max=ae.max}});for(let D in _){let G=_[D],J=W[D];if(G.from==null&&(J==null||J.min==null)){let ae=G.range(n,G.min==Ut?null:G.min,G.max==-Ut?null:G.max,D);G.min=ae[0],G.max=ae[1]}}}for(let D in _){let G=_[D];if(G.from!=null){let J=_[G.from];if(J.min==null)G.min=G.max=null;else{let ae=G.range(n,J.min,J.max,D);G.min=ae[0],G.max=ae[1]}}}let M={},P=!1;for(let D in _){let G=_[D],J=S[D];if(J.min!=G.min||J.max!=G.max){J.min=G.min,J.max=G.max;let ae=J.distr;J._min=ae==3?cs(J.min):ae==4?Iu(J.min,J.asinh):ae==100?J.fwd(J.min):J.min,J._max=ae==3?cs(J.max):ae==4?Iu(J.max,J.asinh):ae==100?J.fwd(J.max):J.max,M[D]=P=!0}}if(P){y.forEach((D,G)=>{s==2?G>0&&M.y&&(D._paths=null):M[D.scale]&&(D._paths=null)});for(let D in M)ye=!0,Mn("setScale",D);me&&ue.left>=0&&(te=pe=!0)}for(let D in W)W[D]=null}function Be(_){let M=ku(tn-1,0,$t-1),P=ku(nn+1,0,$t-1);for(;_[M]==null&&M>0;)M--;for(;_[P]==null&&P<$t-1;)P++;return[M,P]}function dt(){if($t>0){let _=y.some(M=>M._focus)&&Ie!=Oe.alpha;_&&(h.globalAlpha=Ie=Oe.alpha),y.forEach((M,P)=>{if(P>0&&M.show&&(qt(P,!1),qt(P,!0),M._paths==null)){let D=Ie;Ie!=M.alpha&&(h.globalAlpha=Ie=M.alpha);let G=s==2?[0,e[P][0].length-1]:Be(e[P]);M._paths=M.paths(n,P,G[0],G[1]),Ie!=D&&(h.globalAlpha=Ie=D)}}),y.forEach((M,P)=>{if(P>0&&M.show){let D=Ie;Ie!=M.alpha&&(h.globalAlpha=Ie=M.alpha),M._paths!=null&&Tt(P,!1);{let G=M._paths!=null?M._paths.gaps:null,J=M.points.show(n,P,tn,nn,G),ae=M.points.filter(n,P,J,G);(J||ae)&&(M.points._paths=M.points.paths(n,P,tn,nn,ae),Tt(P,!0))}Ie!=D&&(h.globalAlpha=Ie=D),Mn("drawSeries",P)}}),_&&(h.globalAlpha=Ie=1)}}function qt(_,M){let P=M?y[_].points:y[_];P._stroke=P.stroke(n,_),P._fill=P.fill(n,_)}function Tt(_,M){let P=M?y[_].points:y[_],{stroke:D,fill:G,clip:J,flags:ae,_stroke:de=P._stroke,_fill:ve=P._fill,_width:De=P.width}=P._paths;De=Ft(De*Mt,3);let Ne=null,Fe=De%2/2;M&&ve==null&&(ve=De>0?"#fff":de);let it=P.pxAlign==1&&Fe>0;if(it&&h.translate(Fe,Fe),!M){let bt=R-De/2,vt=b-De/2,pt=q+De,Ze=he+De;Ne=new Path2D,Ne.rect(bt,vt,pt,Ze)}M?Ue(de,De,P.dash,P.cap,ve,D,G,ae,J):Ct(_,de,De,P.dash,P.cap,ve,D,G,ae,Ne,J),it&&h.translate(-Fe,-Fe)}function Ct(_,M,P,D,G,J,ae,de,ve,De,Ne){let Fe=!1;ve!=0&&C.forEach((it,bt)=>{if(it.series[0]==_){let vt=y[it.series[1]],pt=e[it.series[1]],Ze=(vt._paths||qo).band;Ls(Ze)&&(Ze=it.dir==1?Ze[0]:Ze[1]);let Xe,Vt=null;vt.show&&Ze&&Qx(pt,tn,nn)?(Vt=it.fill(n,bt)||J,Xe=vt._paths.clip):Ze=null,Ue(M,P,D,G,Vt,ae,de,ve,De,Ne,Xe,Ze),Fe=!0}}),Fe||Ue(M,P,D,G,J,ae,de,ve,De,Ne)}let pn=zr|Gu;function Ue(_,M,P,D,G,J,ae,de,ve,De,Ne,Fe){Ee(_,M,P,D,G),(ve||De||Fe)&&(h.save(),ve&&h.clip(ve),De&&h.clip(De)),Fe?(de&pn)==pn?(h.clip(Fe),Ne&&h.clip(Ne),gt(G,ae),an(_,J,M)):de&Gu?(gt(G,ae),h.clip(Fe),an(_,J,M)):de&zr&&(h.save(),h.clip(Fe),Ne&&h.clip(Ne),gt(G,ae),h.restore(),an(_,J,M)):(gt(G,ae),an(_,J,M)),(ve||De||Fe)&&h.restore()}function an(_,M,P){P>0&&(M instanceof Map?M.forEach((D,G)=>{h.strokeStyle=yr=G,h.stroke(D)}):M!=null&&_&&h.stroke(M))}function gt(_,M){M instanceof Map?M.forEach((P,D)=>{h.fillStyle=Es=D,h.fill(P)}):M!=null&&_&&h.fill(M)}function ss(_,M,P,D){let G=T[_],J;if(D<=0)J=[0,0];else{let ae=G._space=G.space(n,_,M,P,D),de=G._incrs=G.incrs(n,_,M,P,D,ae);J=vv(M,P,de,D,ae)}return G._found=J}function ln(_,M,P,D,G,J,ae,de,ve,De){let Ne=ae%2/2;v==1&&h.translate(Ne,Ne),Ee(de,ae,ve,De,de),h.beginPath();let Fe,it,bt,vt,pt=G+(D==0||D==3?-J:J);P==0?(it=G,vt=pt):(Fe=G,bt=pt);for(let Ze=0;Ze<_.length;Ze++)M[Ze]!=null&&(P==0?Fe=bt=_[Ze]:it=vt=_[Ze],h.moveTo(Fe,it),h.lineTo(bt,vt));h.stroke(),v==1&&h.translate(-Ne,-Ne)}function Sr(_){let M=!0;return T.forEach((P,D)=>{if(!P.show)return;let G=S[P.scale];if(G.min==null){P._show&&(M=!1,P._show=!1,ct(!1));return}else P._show||(M=!1,P._show=!0,ct(!1));let J=P.side,ae=J%2,{min:de,max:ve}=G,[De,Ne]=ss(D,de,ve,ae==0?B:Re);if(Ne==0)return;let Fe=G.distr==2,it=P._splits=P.splits(n,D,de,ve,De,Ne,Fe),bt=G.distr==2?it.map(Xe=>Qn[Xe]):it,vt=G.distr==2?Qn[it[1]]-Qn[it[0]]:De,pt=P._values=P.values(n,P.filter(n,bt,D,Ne,vt),D,Ne,vt);P._rotate=J==2?P.rotate(n,pt,D,Ne):0;let Ze=P._size;P._size=_i(P.size(n,pt,D,_)),Ze!=null&&P._size!=Ze&&(M=!1)}),M}function zi(_){let M=!0;return Ro.forEach((P,D)=>{let G=P(n,D,Bi,_);G!=Si[D]&&(M=!1),Si[D]=G}),M}function rs(){for(let _=0;_<T.length;_++){let M=T[_];if(!M.show||!M._show)continue;let P=M.side,D=P%2,G,J,ae=M.stroke(n,_),de=P==0||P==3?-1:1,[ve,De]=M._found;if(M.label!=null){let Hn=M.labelGap*de,ni=mn((M._lpos+Hn)*Mt);Le(M.labelFont[0],ae,"center",P==2?"top":jp),h.save(),D==1?(G=J=0,h.translate(ni,mn(b+he/2)),h.rotate((P==3?-dl:dl)/2)):(G=mn(R+q/2),J=ni);let Js=Vm(M.label)?M.label(n,_,ve,De):M.label;h.fillText(Js,G,J),h.restore()}if(De==0)continue;let Ne=S[M.scale],Fe=D==0?q:he,it=D==0?R:b,bt=M._splits,vt=Ne.distr==2?bt.map(Hn=>Qn[Hn]):bt,pt=Ne.distr==2?Qn[bt[1]]-Qn[bt[0]]:ve,Ze=M.ticks,Xe=M.border,Vt=Ze.show?Ze.size:0,Jt=mn(Vt*Mt),wn=mn((M.alignTo==2?M._size-Vt-M.gap:M.gap)*Mt),Lt=M._rotate*-dl/180,Kt=m(M._pos*Mt),ei=(Jt+wn)*de,Gn=Kt+ei;J=D==0?Gn:0,G=D==1?Gn:0;let pi=M.font[0],bi=M.align==1?Nr:M.align==2?Cu:Lt>0?Nr:Lt<0?Cu:D==0?"center":P==3?Cu:Nr,Hi=Lt||D==1?"middle":P==2?"top":jp;Le(pi,ae,bi,Hi);let ti=M.font[1]*M.lineGap,mi=bt.map(Hn=>m(a(Hn,Ne,Fe,it))),Mi=M._values;for(let Hn=0;Hn<Mi.length;Hn++){let ni=Mi[Hn];if(ni!=null){D==0?G=mi[Hn]:J=mi[Hn],ni=""+ni;let Js=ni.indexOf(`
`)==-1?[ni]:ni.split(/\n/gm);for(let Wn=0;Wn<Js.length;Wn++){let pp=Js[Wn];Lt?(h.save(),h.translate(G,J+Wn*ti),h.rotate(Lt),h.fillText(pp,0,0),h.restore()):h.fillText(pp,G,J+Wn*ti)}}}Ze.show&&ln(mi,Ze.filter(n,vt,_,De,pt),D,P,Kt,Jt,Ft(Ze.width*Mt,3),Ze.stroke(n,_),Ze.dash,Ze.cap);let Wi=M.grid;Wi.show&&ln(mi,Wi.filter(n,vt,_,De,pt),D,D==0?2:1,D==0?b:R,D==0?he:q,Ft(Wi.width*Mt,3),Wi.stroke(n,_),Wi.dash,Wi.cap),Xe.show&&ln([Kt],[1],D==0?1:0,D==0?1:2,D==1?b:R,D==1?he:q,Ft(Xe.width*Mt,3),Xe.stroke(n,_),Xe.dash,Xe.cap)}Mn("drawAxes")}function ct(_){y.forEach((M,P)=>{P>0&&(M._paths=null,_&&(s==1?(M.min=null,M.max=null):M.facets.forEach(D=>{D.min=null,D.max=null})))})}let Zt=!1,Vn=!1,Rt=[];function cn(){Vn=!1;for(let _=0;_<Rt.length;_++)Mn(...Rt[_]);Rt.length=0}function Fn(){Zt||(dy(Jd),Zt=!0)}function Ka(_,M=!1){Zt=!0,Vn=M,_(n),Jd(),M&&Rt.length>0&&queueMicrotask(cn)}n.batch=Ka;function Jd(){if(oe&&(ft(),oe=!1),ye&&(we(),ye=!1),_e){if(Gt(d,Nr,$e),Gt(d,"top",rt),Gt(d,Go,B),Gt(d,Ho,Re),Gt(g,Nr,$e),Gt(g,"top",rt),Gt(g,Go,B),Gt(g,Ho,Re),Gt(f,Go,Yt),Gt(f,Ho,on),u.width=mn(Yt*Mt),u.height=mn(on*Mt),T.forEach(({_el:_,_show:M,_size:P,_pos:D,side:G})=>{if(_!=null)if(M){let J=G===3||G===0?P:0,ae=G%2==1;Gt(_,ae?"left":"top",D-J),Gt(_,ae?"width":"height",P),Gt(_,ae?"top":"left",ae?rt:$e),Gt(_,ae?"height":"width",ae?Re:B),Ou(_,er)}else si(_,er)}),yr=Es=vr=z=j=Y=Z=Ae=w=null,Ie=1,No(!0),$e!=Me||rt!=Nt||B!=ze||Re!=qe){ct(!1);let _=B/ze,M=Re/qe;if(me&&!te&&ue.left>=0){ue.left*=_,ue.top*=M,br&&Xi(br,mn(ue.left),0,B,Re),Mr&&Xi(Mr,0,mn(ue.top),B,Re);for(let P=0;P<at.length;P++){let D=at[P];D!=null&&(Bt[P]*=_,zn[P]*=M,Xi(D,_i(Bt[P]),_i(zn[P]),B,Re))}}if(zt.show&&!ie&&zt.left>=0&&zt.width>0){zt.left*=_,zt.width*=_,zt.top*=M,zt.height*=M;for(let P in uu)Gt(Er,P,zt[P])}Me=$e,Nt=rt,ze=B,qe=Re}Mn("setSize"),_e=!1}Yt>0&&on>0&&(h.clearRect(0,0,u.width,u.height),Mn("drawClear"),A.forEach(_=>_()),Mn("draw")),zt.show&&ie&&(ja(zt),ie=!1),me&&te&&(Zs(null,!0,!1),te=!1),fe.show&&fe.live&&pe&&(cu(),pe=!1),c||(c=!0,n.status=1,Mn("ready")),As=!1,Zt=!1}n.redraw=(_,M)=>{ye=M||!1,_!==!1?Cs(E,I.min,I.max):Fn()};function ou(_,M){let P=S[_];if(P.from==null){if($t==0){let D=P.range(n,M.min,M.max,_);M.min=D[0],M.max=D[1]}if(M.min>M.max){let D=M.min;M.min=M.max,M.max=D}if($t>1&&M.min!=null&&M.max!=null&&M.max-M.min<1e-16)return;_==E&&P.distr==2&&$t>0&&(M.min=Ei(M.min,e[0]),M.max=Ei(M.max,e[0]),M.min==M.max&&M.max++),W[_]=M,oe=!0,Fn()}}n.setScale=ou;let au,lu,br,Mr,Kd,jd,wr,Ar,Qd,ep,kt,Xt,Ts=!1,Rn=ue.drag,Sn=Rn.x,bn=Rn.y;me&&(ue.x&&(au=gi(Ox,g)),ue.y&&(lu=gi(Bx,g)),I.ori==0?(br=au,Mr=lu):(br=lu,Mr=au),kt=ue.left,Xt=ue.top);let zt=n.select=un({show:!0,over:!0,left:0,width:0,top:0,height:0},i.select),Er=zt.show?gi(Fx,zt.over?g:d):null;function ja(_,M){if(zt.show){for(let P in _)zt[P]=_[P],P in uu&&Gt(Er,P,_[P]);M!==!1&&Mn("setSelect")}}n.setSelect=ja;function J_(_){if(y[_].show)ee&&Ou(st[_],er);else if(ee&&si(st[_],er),me){let P=Ce?at[0]:at[_];P!=null&&Xi(P,-10,-10,B,Re)}}function Cs(_,M,P){ou(_,{min:M,max:P})}function Vi(_,M,P,D){M.focus!=null&&tx(_),M.show!=null&&y.forEach((G,J)=>{J>0&&(_==J||_==null)&&(G.show=M.show,J_(J),s==2?(Cs(G.facets[0].scale,null,null),Cs(G.facets[1].scale,null,null)):Cs(G.scale,null,null),Fn())}),P!==!1&&Mn("setSeries",_,M),D&&Uo("setSeries",n,_,M)}n.setSeries=Vi;function K_(_,M){un(C[_],M)}function j_(_,M){_.fill=_t(_.fill||null),_.dir=St(_.dir,-1),M=M??C.length,C.splice(M,0,_)}function Q_(_){_==null?C.length=0:C.splice(_,1)}n.addBand=j_,n.setBand=K_,n.delBand=Q_;function ex(_,M){y[_].alpha=M,me&&at[_]!=null&&(at[_].style.opacity=M),ee&&st[_]&&(st[_].style.opacity=M)}let os,Rs,$s,Tr={focus:!0};function tx(_){if(_!=$s){let M=_==null,P=Oe.alpha!=1;y.forEach((D,G)=>{if(s==1||G>0){let J=M||G==0||G==_;D._focus=M?null:J,P&&ex(G,J?1:Oe.alpha)}}),$s=_,P&&Fn()}}ee&&Ke&&yt(nm,Te,_=>{ue._lock||(Je(_),$s!=null&&Vi(null,Tr,!0,hn.setSeries))});function Gi(_,M,P){let D=S[M];P&&(_=_/Mt-(D.ori==1?rt:$e));let G=B;D.ori==1&&(G=Re,_=G-_),D.dir==-1&&(_=G-_);let J=D._min,ae=D._max,de=_/G,ve=J+(ae-J)*de,De=D.distr;return De==3?Or(10,ve):De==4?ty(ve,D.asinh):De==100?D.bwd(ve):ve}function nx(_,M){let P=Gi(_,E,M);return Ei(P,e[0],tn,nn)}n.valToIdx=_=>Ei(_,e[0]),n.posToIdx=nx,n.posToVal=Gi,n.valToPos=(_,M,P)=>S[M].ori==0?r(_,S[M],P?q:B,P?R:0):o(_,S[M],P?he:Re,P?b:0),n.setCursor=(_,M,P)=>{kt=_.left,Xt=_.top,Zs(null,M,P)};function tp(_,M){Gt(Er,Nr,zt.left=_),Gt(Er,Go,zt.width=M)}function np(_,M){Gt(Er,"top",zt.top=_),Gt(Er,Ho,zt.height=M)}let Lo=I.ori==0?tp:np,Do=I.ori==1?tp:np;function ix(){if(ee&&fe.live)for(let _=s==2?1:0;_<y.length;_++){if(_==0&&lt)continue;let M=fe.values[_],P=0;for(let D in M)Ve[_][P++].firstChild.nodeValue=M[D]}}function cu(_,M){if(_!=null&&(_.idxs?_.idxs.forEach((P,D)=>{se[D]=P}):ry(_.idx)||se.fill(_.idx),fe.idx=se[0]),ee&&fe.live){for(let P=0;P<y.length;P++)(P>0||s==1&&!lt)&&sx(P,se[P]);ix()}pe=!1,M!==!1&&Mn("setLegend")}n.setLegend=cu;function sx(_,M){let P=y[_],D=_==0&&k==2?Qn:e[_],G;lt?G=P.values(n,_,M)??nt:(G=P.value(n,M==null?null:D[M],_,M),G=G==null?nt:{_:G}),fe.values[_]=G}function Zs(_,M,P){Qd=kt,ep=Xt,[kt,Xt]=ue.move(n,kt,Xt),ue.left=kt,ue.top=Xt,me&&(br&&Xi(br,mn(kt),0,B,Re),Mr&&Xi(Mr,0,mn(Xt),B,Re));let D,G=tn>nn;os=Ut,Rs=null;let J=I.ori==0?B:Re,ae=I.ori==1?B:Re;if(kt<0||$t==0||G){D=ue.idx=null;for(let de=0;de<y.length;de++){let ve=at[de];ve!=null&&Xi(ve,-10,-10,B,Re)}Ke&&Vi(null,Tr,!0,_==null&&hn.setSeries),fe.live&&(se.fill(D),pe=!0)}else{let de,ve,De;s==1&&(de=I.ori==0?kt:Xt,ve=Gi(de,E),D=ue.idx=Ei(ve,e[0],tn,nn),De=V(e[0][D],I,J,0));let Ne=-10,Fe=-10,it=0,bt=0,vt=!0,pt="",Ze="";for(let Xe=s==2?1:0;Xe<y.length;Xe++){let Vt=y[Xe],Jt=se[Xe],wn=Jt==null?null:s==1?e[Xe][Jt]:e[Xe][1][Jt],Lt=ue.dataIdx(n,Xe,D,ve),Kt=Lt==null?null:s==1?e[Xe][Lt]:e[Xe][1][Lt];if(pe=pe||Kt!=wn||Lt!=Jt,se[Xe]=Lt,Xe>0&&Vt.show){let ei=Lt==null?-10:Lt==D?De:V(s==1?e[0][Lt]:e[Xe][0][Lt],I,J,0),Gn=Kt==null?-10:N(Kt,s==1?S[Vt.scale]:S[Vt.facets[1].scale],ae,0);if(Ke&&Kt!=null){let pi=I.ori==1?kt:Xt,bi=gn(Oe.dist(n,Xe,Lt,Gn,pi));if(bi<os){let Hi=Oe.bias;if(Hi!=0){let ti=Gi(pi,Vt.scale),mi=Kt>=0?1:-1,Mi=ti>=0?1:-1;Mi==mi&&(Mi==1?Hi==1?Kt>=ti:Kt<=ti:Hi==1?Kt<=ti:Kt>=ti)&&(os=bi,Rs=Xe)}else os=bi,Rs=Xe}}if(pe||Ce){let pi,bi;I.ori==0?(pi=ei,bi=Gn):(pi=Gn,bi=ei);let Hi,ti,mi,Mi,Wi,Hn,ni=!0,Js=le.bbox;if(Js!=null){ni=!1;let Wn=Js(n,Xe);mi=Wn.left,Mi=Wn.top,Hi=Wn.width,ti=Wn.height}else mi=pi,Mi=bi,Hi=ti=le.size(n,Xe);if(Hn=le.fill(n,Xe),Wi=le.stroke(n,Xe),Ce)Xe==Rs&&os<=Oe.prox&&(Ne=mi,Fe=Mi,it=Hi,bt=ti,vt=ni,pt=Hn,Ze=Wi);else{let Wn=at[Xe];Wn!=null&&(Bt[Xe]=mi,zn[Xe]=Mi,cm(Wn,Hi,ti,ni),am(Wn,Hn,Wi),Xi(Wn,_i(mi),_i(Mi),B,Re))}}}}if(Ce){let Xe=Oe.prox,Vt=$s==null?os<=Xe:os>Xe||Rs!=$s;if(pe||Vt){let Jt=at[0];Jt!=null&&(Bt[0]=Ne,zn[0]=Fe,cm(Jt,it,bt,vt),am(Jt,pt,Ze),Xi(Jt,_i(Ne),_i(Fe),B,Re))}}}if(zt.show&&Ts)if(_!=null){let[de,ve]=hn.scales,[De,Ne]=hn.match,[Fe,it]=_.cursor.sync.scales,bt=_.cursor.drag;if(Sn=bt._x,bn=bt._y,Sn||bn){let{left:vt,top:pt,width:Ze,height:Xe}=_.select,Vt=_.scales[Fe].ori,Jt=_.posToVal,wn,Lt,Kt,ei,Gn,pi=de!=null&&De(de,Fe),bi=ve!=null&&Ne(ve,it);pi&&Sn?(Vt==0?(wn=vt,Lt=Ze):(wn=pt,Lt=Xe),Kt=S[de],ei=V(Jt(wn,Fe),Kt,J,0),Gn=V(Jt(wn+Lt,Fe),Kt,J,0),Lo(Ti(ei,Gn),gn(Gn-ei))):Lo(0,J),bi&&bn?(Vt==1?(wn=vt,Lt=Ze):(wn=pt,Lt=Xe),Kt=S[ve],ei=N(Jt(wn,it),Kt,ae,0),Gn=N(Jt(wn+Lt,it),Kt,ae,0),Do(Ti(ei,Gn),gn(Gn-ei))):Do(0,ae)}else fu()}else{let de=gn(Qd-Kd),ve=gn(ep-jd);if(I.ori==1){let it=de;de=ve,ve=it}Sn=Rn.x&&de>=Rn.dist,bn=Rn.y&&ve>=Rn.dist;let De=Rn.uni;De!=null?Sn&&bn&&(Sn=de>=De,bn=ve>=De,!Sn&&!bn&&(ve>de?bn=!0:Sn=!0)):Rn.x&&Rn.y&&(Sn||bn)&&(Sn=bn=!0);let Ne,Fe;Sn&&(I.ori==0?(Ne=wr,Fe=kt):(Ne=Ar,Fe=Xt),Lo(Ti(Ne,Fe),gn(Fe-Ne)),bn||Do(0,ae)),bn&&(I.ori==1?(Ne=wr,Fe=kt):(Ne=Ar,Fe=Xt),Do(Ti(Ne,Fe),gn(Fe-Ne)),Sn||Lo(0,J)),!Sn&&!bn&&(Lo(0,0),Do(0,0))}if(Rn._x=Sn,Rn._y=bn,_==null){if(P){if(dp!=null){let[de,ve]=hn.scales;hn.values[0]=de!=null?Gi(I.ori==0?kt:Xt,de):null,hn.values[1]=ve!=null?Gi(I.ori==1?kt:Xt,ve):null}Uo(Ru,n,kt,Xt,B,Re,D)}if(Ke){let de=P&&hn.setSeries,ve=Oe.prox;$s==null?os<=ve&&Vi(Rs,Tr,!0,de):os>ve?Vi(null,Tr,!0,de):Rs!=$s&&Vi(Rs,Tr,!0,de)}}pe&&(fe.idx=D,cu()),M!==!1&&Mn("setCursor")}let Ps=null;Object.defineProperty(n,"rect",{get(){return Ps==null&&No(!1),Ps}});function No(_=!1){_?Ps=null:(Ps=g.getBoundingClientRect(),Mn("syncRect",Ps))}function ip(_,M,P,D,G,J,ae){ue._lock||Ts&&_!=null&&_.movementX==0&&_.movementY==0||(hu(_,M,P,D,G,J,ae,!1,_!=null),_!=null?Zs(null,!0,!0):Zs(M,!0,!1))}function hu(_,M,P,D,G,J,ae,de,ve){if(Ps==null&&No(!1),Je(_),_!=null)P=_.clientX-Ps.left,D=_.clientY-Ps.top;else{if(P<0||D<0){kt=-10,Xt=-10;return}let[De,Ne]=hn.scales,Fe=M.cursor.sync,[it,bt]=Fe.values,[vt,pt]=Fe.scales,[Ze,Xe]=hn.match,Vt=M.axes[0].side%2==1,Jt=I.ori==0?B:Re,wn=I.ori==1?B:Re,Lt=Vt?J:G,Kt=Vt?G:J,ei=Vt?D:P,Gn=Vt?P:D;if(vt!=null?P=Ze(De,vt)?a(it,S[De],Jt,0):-10:P=Jt*(ei/Lt),pt!=null?D=Xe(Ne,pt)?a(bt,S[Ne],wn,0):-10:D=wn*(Gn/Kt),I.ori==1){let pi=P;P=D,D=pi}}ve&&(M==null||M.cursor.event.type==Ru)&&((P<=1||P>=B-1)&&(P=js(P,B)),(D<=1||D>=Re-1)&&(D=js(D,Re))),de?(Kd=P,jd=D,[wr,Ar]=ue.move(n,P,D)):(kt=P,Xt=D)}let uu={width:0,height:0,left:0,top:0};function fu(){ja(uu,!1)}let sp,rp,op,ap;function lp(_,M,P,D,G,J,ae){Ts=!0,Sn=bn=Rn._x=Rn._y=!1,hu(_,M,P,D,G,J,ae,!0,!1),_!=null&&(yt(Pu,Uu,cp,!1),Uo(em,n,wr,Ar,B,Re,null));let{left:de,top:ve,width:De,height:Ne}=zt;sp=de,rp=ve,op=De,ap=Ne}function cp(_,M,P,D,G,J,ae){Ts=Rn._x=Rn._y=!1,hu(_,M,P,D,G,J,ae,!1,!0);let{left:de,top:ve,width:De,height:Ne}=zt,Fe=De>0||Ne>0,it=sp!=de||rp!=ve||op!=De||ap!=Ne;if(Fe&&it&&ja(zt),Rn.setScale&&Fe&&it){let bt=de,vt=De,pt=ve,Ze=Ne;if(I.ori==1&&(bt=ve,vt=Ne,pt=de,Ze=De),Sn&&Cs(E,Gi(bt,E),Gi(bt+vt,E)),bn)for(let Xe in S){let Vt=S[Xe];Xe!=E&&Vt.from==null&&Vt.min!=Ut&&Cs(Xe,Gi(pt+Ze,Xe),Gi(pt,Xe))}fu()}else ue.lock&&(ue._lock=!ue._lock,Zs(M,!0,_!=null));_!=null&&(dn(Pu,Uu),Uo(Pu,n,kt,Xt,B,Re,null))}function rx(_,M,P,D,G,J,ae){if(ue._lock)return;Je(_);let de=Ts;if(Ts){let ve=!0,De=!0,Ne=10,Fe,it;I.ori==0?(Fe=Sn,it=bn):(Fe=bn,it=Sn),Fe&&it&&(ve=kt<=Ne||kt>=B-Ne,De=Xt<=Ne||Xt>=Re-Ne),Fe&&ve&&(kt=kt<wr?0:B),it&&De&&(Xt=Xt<Ar?0:Re),Zs(null,!0,!0),Ts=!1}kt=-10,Xt=-10,se.fill(null),Zs(null,!0,!0),de&&(Ts=de)}function hp(_,M,P,D,G,J,ae){ue._lock||(Je(_),Io(),fu(),_!=null&&Uo(im,n,kt,Xt,B,Re,null))}function up(){T.forEach(Sv),O(n.width,n.height,!0)}tr(pl,Fr,up);let Cr={};Cr.mousedown=lp,Cr.mousemove=ip,Cr.mouseup=cp,Cr.dblclick=hp,Cr.setSeries=(_,M,P,D)=>{let G=hn.match[2];P=G(n,M,P),P!=-1&&Vi(P,D,!0,!1)},me&&(yt(em,g,lp),yt(Ru,g,ip),yt(tm,g,_=>{Je(_),No(!1)}),yt(nm,g,rx),yt(im,g,hp),Hu.add(n),n.syncRect=No);let Qa=n.hooks=i.hooks||{};function Mn(_,M,P){Vn?Rt.push([_,M,P]):_ in Qa&&Qa[_].forEach(D=>{D.call(null,n,M,P)})}(i.plugins||[]).forEach(_=>{for(let M in _.hooks)Qa[M]=(Qa[M]||[]).concat(_.hooks[M])});let fp=(_,M,P)=>P,hn=un({key:null,setSeries:!1,filters:{pub:pm,sub:pm},scales:[E,y[1]?y[1].scale:null],match:[mm,mm,fp],values:[null,null]},ue.sync);hn.match.length==2&&hn.match.push(fp),ue.sync=hn;let dp=hn.key,du=ug(dp);function Uo(_,M,P,D,G,J,ae){hn.filters.pub(_,M,P,D,G,J,ae)&&du.pub(_,M,P,D,G,J,ae)}du.sub(n);function ox(_,M,P,D,G,J,ae){hn.filters.sub(_,M,P,D,G,J,ae)&&Cr[_](null,M,P,D,G,J,ae)}n.pub=ox;function ax(){du.unsub(n),Hu.delete(n),vn.clear(),Bu(pl,Fr,up),l.remove(),Te?.remove(),Mn("destroy")}n.destroy=ax;function pu(){Mn("init",i,e),Po(e||i.data,!1),W[E]?ou(E,W[E]):Io(),ie=zt.show&&(zt.width>0||zt.height>0),te=pe=!0,O(i.width,i.height)}return y.forEach(xr),T.forEach(ns),t?t instanceof HTMLElement?(t.appendChild(l),pu()):t(n,pu):pu(),n}An.assign=un;An.fmtNum=Ju;An.rangeNum=ml;An.rangeLog=xl;An.rangeAsinh=$u;An.orient=ir;An.pxRatio=Mt;An.join=fy;An.fmtDate=ju,An.tzDate=My;An.sync=ug;{An.addGap=rv,An.clipGaps=Sl;let i=An.paths={points:_g};i.linear=yg,i.stepped=lv,i.bars=cv,i.spline=uv}var Mg=220,bv=7,sr=.7,wg=142,Ag=64,Al=class{constructor(e,t){this.desk=e;this.host=t;this.plots=[];this.width=1;this.shown=[];let n=()=>ls()?25.4:1,{player:s}=e;this.curves=[{title:"Spindle face Z",unit:()=>ls()?"in":"mm",value:(r,o)=>r.positionAt(o)[2]/n(),places:3,least:.02},{title:"Speed",unit:()=>ls()?"in/min":"mm/min",value:(r,o)=>r.speedAt(o)*60/n(),places:0,least:4},{title:"Pad travel",unit:()=>ls()?"in":"mm",value:(r,o)=>Math.max(0,...r.setters.map(a=>r.padDepthAt(a,o)))/n(),places:3,least:.02,more:Mv}],this.lanes=Av(s),this.build(),new ResizeObserver(()=>this.resize()).observe(t)}build(){let e=["#0b62a4","#a86200"],t=this.desk.player.replays.length,n=r=>Array.from({length:t},(o,a)=>({stroke:e[a],width:2.5,dash:a?[7,5]:void 0,points:{show:!1},paths:r?An.paths.stepped({align:1}):void 0}));this.curves.forEach(r=>this.add(r.title,[{},...n(!1)],null,r.least??0));let s=this.lanes.flatMap(()=>n(!0));this.lanes.length&&this.add("Signals",[{},...s],this.lanes),this.resize()}add(e,t,n,s=0){let r=document.createElement("div");r.className="plot";let o=document.createElement("div");o.className="plot-head",r.append(o),this.host.append(r),this.shown.push(o),o.textContent=n?"":e;let a=n!==null,c={stroke:"#dde3e9",width:1},l="13px system-ui, sans-serif",u=new An({width:300,height:60,legend:{show:!1},padding:n?[4,Ag,0,0]:[6,0,4,wg],cursor:{sync:{key:"time"},y:!1,drag:{x:!1,y:!1},points:{show:!1}},scales:{x:{time:!1,range:()=>[-sr*this.width,(1-sr)*this.width]},y:n?{range:[-.2,n.length*1.5]}:{range:(h,f,d)=>wv(f,d,s)}},axes:[{size:a?24:0,show:a,font:l,gap:2,stroke:"#4a5765",grid:c,ticks:{...c,size:4},values:(h,f)=>f.map(d=>this.when(d))},n?{size:wg,font:l,stroke:"#16202b",grid:{show:!1},ticks:{show:!1},splits:()=>n.map((h,f)=>(n.length-1-f)*1.5+.5),values:()=>n.map(h=>h.name)}:{side:1,size:Ag,font:l,stroke:"#4a5765",grid:c,ticks:c,space:24,values:(h,f)=>f.map(d=>String(Number(d.toPrecision(7))))}],series:t,hooks:{draw:[h=>this.drawNow(h)]}},[[0]],r);u.over.addEventListener("click",h=>{let f=u.posToVal(h.offsetX,"x");this.desk.picked=null,this.desk.player.seek(this.desk.player.t+f)}),this.plots.push(u)}when(e){if(Math.abs(e)<this.width*1e-6)return"now";let t=e>0?"+":"\u2212",n=Math.abs(e);return this.width<1.5?`${t}${Number((n*1e3).toPrecision(4))} ms`:`${t}${Number(n.toPrecision(3))} s`}drawNow(e){let t=e.valToPos(0,"x",!0);e.ctx.save(),e.ctx.strokeStyle="#b0006d",e.ctx.lineWidth=2*devicePixelRatio,e.ctx.beginPath(),e.ctx.moveTo(t,e.bbox.top),e.ctx.lineTo(t,e.bbox.top+e.bbox.height),e.ctx.stroke(),e.ctx.restore()}resize(){let[e,t]=[this.host.clientWidth,this.host.clientHeight];if(e<50||t<50)return;let n=this.lanes.length?Math.max(60,this.lanes.length*17+34):0,s=(t-n)/this.curves.length;this.plots.forEach((r,o)=>r.setSize({width:e,height:Math.floor(o<this.curves.length?s:n)}))}draw(e){let{player:t}=this.desk,n=Math.max(bv*t.rateAt(t.t),.004),s=e<=0||!t.playing?1:1-Math.exp(-e/.35);this.width*=(n/this.width)**s;let r=t.hiddenFrom,o=Array.from({length:Mg+1},(a,c)=>(c/Mg-sr)*this.width);this.curves.forEach((a,c)=>{let l=t.replays.map((h,f)=>o.map(d=>{let g=t.t+d+t.shift(f);return g<0||g>h.duration||t.t+d>r&&d>0?null:a.value(h,g)}));this.plots[c].setData([o,...l]);let u=t.replays.map((h,f)=>{let d=t.timeOf(f),g=a.value(h,d).toFixed(a.places+(ls()&&a.places?1:0));return t.replays.length>1?`${f?"B \u254C":"A \u2501"} ${g} ${a.unit()}`:[`${g} ${a.unit()}`,a.more?.(h,d)].filter(Boolean).join(", ")});this.tell(this.shown[c],a.title,u)}),this.lanes.length&&this.drawLanes(r)}tell(e,t,n){let s=n.join("|");if(e.dataset.text===s)return;e.dataset.text=s;let r=n.map(o=>{let a=document.createElement("b");return a.textContent=o.replace(/ (?=[a-zN])/g,"\xA0"),a});e.replaceChildren(t,...r)}drawLanes(e){let{player:t}=this.desk,n=new Set([-sr*this.width,(1-sr)*this.width,0]);this.lanes.forEach(o=>t.replays.forEach((a,c)=>{for(let[l]of a.edgesOf(o.signal)){let u=l-t.shift(c)-t.t;u>-sr*this.width&&u<(1-sr)*this.width&&n.add(u)}}));let s=[...n].sort((o,a)=>o-a),r=this.lanes.flatMap((o,a)=>t.replays.map((c,l)=>s.map(u=>{if(t.t+u>e&&u>0)return null;let h=c.signalAt(o.signal,t.t+u+t.shift(l))??0;return(this.lanes.length-1-a)*1.5+h+l*.06})));this.plots[this.plots.length-1].setData([s,...r])}};function Mv(i,e){let t=i.setters.map(s=>{let[r,o]=[i.padDepthAt(s,e),i.entry.facts.setters[s]];return r>0&&o?.rate_N_per_mm?(o.preload_N??0)+o.rate_N_per_mm*r:0}),n=Math.max(0,...t);return n>0?`${n.toFixed(1)} N`:""}function wv(i,e,t){if(i===null||e===null||!Number.isFinite(i))return[0,1];e=Math.max(e,i+t);let n=Math.max((e-i)*.12,Math.abs(e)*1e-6,1e-4);return[i-n,e+n]}function Av(i){let e=new Set,t=new Set;for(let s of i.replays){for(let r of s.signals)e.add(r.replace(/\.\w+$/,""));for(let[r,o]of Object.entries(s.entry.facts.start))/^setter .* input$/.test(r)&&t.add(`input ${o}`)}let n=[];for(let s of[...new Set([...t,...e])].slice(0,2)){let r=t.size&&!t.has(s)?" (unwatched)":"";n.push({name:`${s}${r}`,signal:`${s}.raw`}),r||n.push({name:"filtered",signal:`${s}.filtered`},{name:"controller sees",signal:`${s}.seen`})}return n}var rr=205,El=140,Eg=120;function Tg({replay:i,press:e,t,known:n}){let s=e.marks.filter(S=>S.t<=Math.max(n,t)&&!(S.never&&S.t>t)),r=Math.max(e.rest-e.contact,1e-6),o=e.contact-.12*r,a=e.rest+.15*r,c=Math.max(...e.marks.map(S=>S.depth),i.padDepthAt(e.setter,e.rest),1e-4)*1.15,l=S=>6+(S-o)/(a-o)*(rr-12),u=S=>16+S/c*(El-36),h=i.padDepthAt(e.setter,t),f=Math.min(Math.max(t,o),a),d=S=>Array.from({length:Eg+1},(C,E)=>o+(S-o)*E/Eg).map((C,E)=>`${E?"L":"M"}${l(C).toFixed(1)} ${u(i.padDepthAt(e.setter,C)).toFixed(1)}`).join(""),g=e.limit!==null&&e.preTravel!==null?e.limit-e.preTravel:null,v=e.preTravel!==null?Math.max(h-e.preTravel,0):0,m=g===null?null:Math.max(g-v,0),p=i.entry.facts.setters[e.setter],y=p?.rate_N_per_mm!==void 0&&h>0?(p.preload_N??0)+p.rate_N_per_mm*h:null,T=r<.5?`${ii((t-e.contact)*1e3,1)} ms`:`${ii(t-e.contact,2)} s`;return X("section",{class:"strip","aria-label":"The touch, enlarged",children:[X("div",{class:"strip-head",children:[X("b",{children:["Pad travel ",Lr(h)]}),X("span",{children:t<e.contact?"not yet touched":`${T} after the touch`}),y!==null&&X("span",{children:[ii(y,1)," N"]})]}),X("div",{class:"strip-body",children:[X("svg",{viewBox:`0 0 ${rr} ${El}`,width:rr,height:El,"aria-hidden":"true",children:[X("line",{x1:"6",x2:rr-6,y1:u(0),y2:u(0),class:"zero"}),X("text",{x:"8",y:u(0)-4,class:"tiny",children:"pad free"}),e.preTravel!==null&&e.preTravel<c&&X("g",{children:[X("line",{x1:"6",x2:rr-6,y1:u(e.preTravel),y2:u(e.preTravel),class:"trip"}),X("text",{x:rr-8,y:u(e.preTravel)-4,class:"tiny end",children:["trip, ",Lr(e.preTravel)]})]}),e.limit!==null&&e.limit<c&&X("g",{children:[X("line",{x1:"6",x2:rr-6,y1:u(e.limit),y2:u(e.limit),class:"solid"}),X("text",{x:"8",y:u(e.limit)+13,class:"tiny",children:"pad is solid"})]}),X("path",{d:d(f),class:"travel"}),s.filter(S=>!S.never).map(S=>X("g",{class:S.t<=t+1e-12?"mark past":"mark",children:[X("line",{x1:l(S.t),x2:l(S.t),y1:u(0),y2:El-6}),S.t<=t+1e-12&&X("circle",{cx:l(S.t),cy:u(S.depth),r:"4"})]},S.name)),X("circle",{cx:l(f),cy:u(h),r:"6",class:"now"})]}),X("ol",{class:"marks",children:s.map(S=>X("li",{class:S.t<=t+1e-12?"past":"",children:[X("span",{children:[S.never?"\u2717":S.t<=t+1e-12?"\u25CF":"\u25CB"," ",S.name]}),X("span",{class:"figure",children:S.never?"never":S.t<=t+1e-12?Lr(S.depth):""})]},S.name))})]}),m!==null&&g!==null&&X("div",{class:"budget",role:"img","aria-label":`Overtravel budget left: ${Lr(m)}`,children:[X("span",{children:"Overtravel left"}),X("span",{class:"tank",children:X("span",{class:"fill",style:{width:`${100*m/g}%`}})}),X("b",{children:m<=1e-6?"none":Lr(m)})]})]})}var Ev={xy:[0,1,2],zx:[2,0,1],yz:[1,2,0]};function Wr(i,e,t){let n=0,s=i;for(;n<s;){let r=n+s>>1;e(r)<=t?n=r+1:s=r}return n-1}function Cg(i,e){if(i.pieces.length===0)return null;let t=Wr(i.pieces.length,n=>i.pieces[n][0],e);return i.pieces[Math.max(t,0)]}function Rg(i,e){let[t,n,s,r,o,a,c]=i;if(e>=n)return c;if(e<=t)return s;let l=e-t,u=s+l*(r+l*(.5*o+l*a/6));return Math.min(Math.max(u,Math.min(s,c)),Math.max(s,c))}function Tv(i,e){let t=Math.max(e-i[0],0);return i[3]+t*(i[4]+t*i[5]/2)}function of(i,e){let t=Cg(i,e);return t===null?0:Rg(t,e)}function af(i,e){let t=Math.max(of(i,e-i.delay_s)-i.dead_mm,0);return i.block_mm===null?t:Math.min(t,i.block_mm)}function Pg(i,e){let t=e-i.delay_s,n=Cg(i,t);if(n===null||t<n[0]||t>n[1])return 0;let s=Rg(n,t)-i.dead_mm;return s<0||i.block_mm!==null&&s>i.block_mm?0:Math.abs(Tv(n,t))}function lf(i,e,t){let[n,s,r]=e;if(i.arc===null){let[m,p,y]=i.direction;return[n+m*t,s+p*t,r+y*t]}let[,o,a,c,l]=i.arc,[u,h,f]=Ev[l],d=Math.min(Math.max(i.direction[f],-1),1),g=a+(c<0?-1:1)*t*Math.sqrt(1-d*d)/o,v=[n,s,r];return v[u]+=o*(Math.cos(g)-Math.cos(a)),v[h]+=o*(Math.sin(g)-Math.sin(a)),v[f]+=d*t,v}var Tl=class{constructor(e){this.entry=e;this.edgesBySignal=new Map;this.data=e.recording,this.byId=new Map(this.data.lines.map(t=>[t.id,t])),this.setters=[...new Set(this.data.pads.map(t=>t[0]))].sort();for(let[t,n,s]of this.data.edges){let r=this.edgesBySignal.get(n);r?r.push([t,s]):this.edgesBySignal.set(n,[[t,s]])}}get duration(){return this.data.duration_s}get signals(){return[...this.edgesBySignal.keys()]}lineAt(e){let t=this.data.lines,n=Wr(t.length,s=>t[s].t[0],e);return n<0?null:t[n]}positionAt(e){let t=this.lineAt(e);return t?lf(t,t.start,af(t,Math.min(e,t.t[1]))):this.data.lines.length?this.data.lines[0].start:this.data.start}commandAt(e){let t=this.lineAt(e);return t?lf(t,t.command_start,of(t,Math.min(e,t.t[1]))):this.data.lines.length?this.data.lines[0].command_start:this.data.start}speedAt(e){let t=this.lineAt(e);return t&&e<=t.t[1]?Pg(t,e):0}padDepthAt(e,t){let n=this.data.pads,s=Wr(n.length,f=>n[f][1],t);for(;s>=0&&n[s][0]!==e;)s-=1;if(s<0)return 0;let[,,r,o,a,c,l]=n[s],u=this.byId.get(r),h=a;return u&&(h+=c*(af(u,Math.min(t,u.t[1]))-o)),Math.min(Math.max(h,0),l??1/0)}padLimitOf(e){let t=this.data.pads.filter(n=>n[0]===e);return t.length?t[t.length-1][6]:null}bodiesAt(e,t){let n=new Map;for(let[s,,r,o]of this.data.scene){if(s>e)break;o===null?n.delete(r):n.set(r,{id:r,...this.placed(o,t)})}return n}placed(e,t){let n=this.data.links[e.link],s=e.offset,r=[s[0]+n[0]*t[0],s[1]+n[1]*t[1],s[2]+n[2]*t[2]];return{geometry:e.geometry,position:r,offset:s,turn_deg:e.turn_deg,link:e.link}}geometryOf(e){return this.data.geometry[e.geometry]}spindleAt(e){let t=this.data.spindle,n=Wr(t.length,o=>t[o][0],e);if(n<0)return[0,0];let[s,,r]=t[n];return[r*2*Math.PI/60*(e-s),r]}signalAt(e,t){let n=this.edgesBySignal.get(e)??[],s=Wr(n.length,r=>n[r][0],t);return s<0?null:n[s][1]}edgesOf(e){return this.edgesBySignal.get(e)??[]}beliefsAt(e){let t={...this.entry.facts.start};for(let[n,s,r]of this.data.beliefs){if(n>e)break;t[s]=r}return t}plugsAt(e){let t={...this.entry.facts.plugs};for(let[n,s,r]of this.data.events){if(n>e)break;s==="plug"&&Array.isArray(r)&&(t[r[0]]=r[1])}return t}};var Cv=6,Rv=1.5,Pv=3,Iv=2.5,Lv=1/1e3,$o=[1,1/2,1/5,1/10,1/20,1/50,1/100,1/200,1/500,1/1e3],Cl=class{constructor(e){this.page=e;this.playing=!1;this.rate=1;this.slows=!0;this.asked=null;this.zones=[];this.listeners=new Set;this.replays=e.entries.map(s=>new Tl(s)),this.presses=this.replays.map(Zp);let t=this.replays.map((s,r)=>this.shift(r));this.start=Math.min(...t.map(s=>-s)),this.end=Math.max(...this.replays.map((s,r)=>s.duration-t[r])),this.t=this.start,this.questions=e.questions.map(s=>({...s,chosen:-1})),this.questions.sort((s,r)=>s.t-r.t);let n=s=>this.replays.length>1?`${"AB"[s]}: `:"";this.moments=this.replays.flatMap((s,r)=>$p(s).map(o=>({...o,t:o.t-t[r],text:n(r)+o.text}))).sort((s,r)=>s.t-r.t),this.replays.forEach((s,r)=>this.addZones(s,r))}shift(e){return this.page.zero_s[e]-this.page.zero_s[0]}timeOf(e){return Math.min(Math.max(this.t+this.shift(e),0),this.replays[e].duration)}addZones(e,t){let n=this.shift(t),s=e.entry.findings.map(r=>r.t);this.presses[t].forEach((r,o)=>{let a=o<2||s.some(h=>h>=r.contact&&h<=r.end),c=this.presses[t].length>Pv,l=a&&!(c&&o>1&&s.length>6)?Cv:Rv,u=Math.min(Math.max((r.rest-r.contact)/l,Lv),1);this.zones.push({from:r.contact-n,to:r.rest-n,rate:u})});for(let r of s)!this.zones.some(a=>r-n>=a.from&&r-n<=a.to)&&e.speedAt(r)>.5&&this.zones.push({from:r-n-.03,to:r-n+.03,rate:.03})}rateAt(e){let t=this.rate;if(this.slows)for(let n of this.zones){let s=Math.max(n.from-e,e-n.to,0);t=Math.min(t,n.rate+Iv*s)}return t}tick(e){if(!this.playing)return!1;let t=Math.min(e,.1);for(;t>0;){let n=Math.min(t,.01),s=this.t+this.rateAt(this.t)*n,r=this.questions.find(o=>o.chosen<0&&o.t>this.t-1e-12&&o.t<=s);if(r){this.t=r.t,this.asked=r,this.playing=!1;break}this.t=s,t-=n}return this.t>=this.end&&(this.t=this.end,this.playing=!1),this.changed(),!0}play(e=!this.playing){this.asked&&this.asked.chosen<0||(e&&this.t>=this.end&&(this.t=this.start),this.asked=null,this.playing=e,this.changed())}seek(e){this.t=Math.min(Math.max(e,this.start),this.end),this.asked=null,this.changed()}answer(e){!this.asked||this.asked.chosen>=0||(this.asked.chosen=e,this.changed())}goOn(){this.asked&&this.asked.chosen<0&&(this.asked.chosen=this.asked.choices.length),this.asked=null,this.play(!0)}neighbour(e){if(e>0)return this.moments.find(s=>s.t>this.t+1e-9)??null;let n=this.moments.filter(s=>s.t<this.t-1e-9);return n.length?n[n.length-1]:null}step(e){this.playing=!1;let t=this.neighbour(e);this.seek(t?t.t:e>0?this.end:this.start)}faster(e){let t=$o.indexOf(this.rate)-e;this.setRate($o[Math.min(Math.max(t,0),$o.length-1)])}setRate(e){this.rate=e,this.changed()}setSlows(e){this.slows=e,this.changed()}get hiddenFrom(){let e=this.questions.find(t=>t.chosen<0);return e?e.t:1/0}pressNow(e){let t=this.timeOf(e),n=this.presses[e].filter(s=>t>s.contact-.4&&t<s.end+.3);return n.length?n.reduce((s,r)=>Math.abs(r.contact-t)<Math.abs(s.contact-t)?r:s):null}listen(e){return this.listeners.add(e),()=>this.listeners.delete(e)}changed(){for(let e of this.listeners)e()}};var Ig=14,Zo=46;function Dg({desk:i}){let{player:e}=i,t=e.rateAt(e.t),n=e.asked!==null&&e.asked.chosen<0;return X("section",{class:"transport","aria-label":"Time",children:[X("div",{class:"controls",children:[X("button",{class:"big",disabled:n,onClick:()=>{i.picked=null,e.play()},children:e.playing?"\u275A\u275A Pause":"\u25B6 Play"}),X("button",{onClick:()=>{i.picked=null,e.step(-1)},"aria-label":"Previous event",children:"\u25C2 Event"}),X("button",{onClick:()=>{i.picked=null,e.step(1)},"aria-label":"Next event",children:"Event \u25B8"}),X("button",{onClick:()=>i.jumpBy(-1),"aria-label":"Previous finding",disabled:i.told.length===0,children:"\u25C2 Finding"}),X("button",{onClick:()=>i.jumpBy(1),"aria-label":"Next finding",disabled:i.told.length===0,children:"Finding \u25B8"}),X("label",{children:["Speed ",X("select",{value:String(e.rate),onChange:s=>e.setRate(Number(s.currentTarget.value)),children:$o.map(s=>X("option",{value:String(s),children:Lg(s)},s))})]}),X("label",{children:[X("input",{type:"checkbox",checked:e.slows,onChange:s=>e.setSlows(s.currentTarget.checked)})," slow at contact"]}),X("output",{class:"clock",children:Ng(i)}),X("span",{class:"pace",children:e.playing?`now ${Lg(t)}`:e.asked?"asking":"paused"})]}),X(Dv,{desk:i})]})}function Ng(i){let{player:e}=i;if(e.replays.length===1)return`${Dr(e.t)} of ${Dr(e.end)}`;let t=e.t-e.page.zero_s[0];return`${t<0?"\u2212":"+"}${Math.abs(t).toFixed(3)} s from ${e.page.zero_label}`}function Lg(i){return i>=.95?"real time":`1/${Math.round(1/i)}`}function Dv({desk:i}){let{player:e}=i,t=Ir(null),[n,s]=zp(1200);Oo(()=>{let l=()=>s(t.current?.clientWidth??1200),u=new ResizeObserver(l);return t.current&&u.observe(t.current),l(),()=>u.disconnect()},[]);let r=Math.max(e.end-e.start,1e-9),o=l=>Ig+(l-e.start)/r*(n-2*Ig),a=Nv(i.told,o,n),c=e.moments.filter(l=>l.kind==="step"&&!l.text.startsWith("B"));return X("div",{class:"line",ref:t,children:[X("svg",{width:n,height:"62","aria-hidden":"true",children:[a.map(({finding:l,left:u})=>X("path",{class:"leader",d:`M${u+Zo/2} 28L${o(l.at)} 44`},l.number)),X("rect",{x:o(e.start),y:"44",width:o(e.end)-o(e.start),height:"8",rx:"4",class:"whole"}),X("rect",{x:o(e.start),y:"44",width:Math.max(o(e.t)-o(e.start),0),height:"8",rx:"4",class:"done"}),e.presses.flatMap((l,u)=>l.map(h=>X("rect",{class:"press",y:"42",height:"12",x:o(h.contact-e.shift(u))-1,width:Math.max(o(h.end-e.shift(u))-o(h.contact-e.shift(u)),3)},`${u} ${h.contact}`))),c.map(l=>X("line",{class:"step",x1:o(l.t),x2:o(l.t),y1:"52",y2:"60"},l.t)),e.questions.map(l=>X("g",{class:"ask-mark",children:[X("circle",{cx:o(l.t),cy:"48",r:"9"}),X("text",{x:o(l.t),y:"53",children:"?"})]},l.t)),X("path",{class:"cursor",d:`M${o(e.t)} 38V60M${o(e.t)-7} 34H${o(e.t)+7}L${o(e.t)} 43Z`})]}),X("input",{class:"scrub",type:"range",min:e.start,max:e.end,step:"any",value:e.t,"aria-label":"Time","aria-valuetext":Ng(i),onInput:l=>{i.picked=null,e.playing=!1,e.seek(Number(l.currentTarget.value))}}),a.map(({finding:l,left:u})=>{let h=i.hidden(l),f=e.page.look.verdicts[l.severity]??e.page.look.verdicts[""];return X("button",{class:"marker",style:{left:`${u}px`,width:`${Zo}px`,borderColor:h?"#8794a1":f.colour},disabled:h,onClick:()=>i.jump(l),title:h?"not yet":l.title,"aria-label":h?"a finding, not yet shown":`Finding ${l.number}: ${l.title}, at ${Dr(l.t)}`,children:[h?"?":X(Is,{look:f,size:16})," ",l.number]},l.number)})]})}function Nv(i,e,t){let n=i.map(o=>({finding:o,left:e(o.at)-Zo/2})),s=2;for(let o of n)o.left=Math.max(o.left,s),s=o.left+Zo+4;let r=t-2;for(let o of[...n].reverse())o.left=Math.min(o.left,r-Zo),r=o.left-4;return n}/**
 * @license
 * Copyright 2010-2026 Three.js Authors
 * SPDX-License-Identifier: MIT
 */var m0=0,Gf=1,g0=2;var Fa=1,_0=2,yo=3,Xs=0,Cn=1,Ji=2,ur=0,vo=1,Hf=2,Wf=3,Xf=4,x0=5;var fr=100,y0=101,v0=102,S0=103,b0=104,M0=200,w0=201,A0=202,E0=203,qf=204,Yf=205,T0=206,C0=207,R0=208,P0=209,I0=210,L0=211,D0=212,N0=213,U0=214,ic=0,sc=1,rc=2,lo=3,oc=4,ac=5,lc=6,cc=7,qc=0,F0=1,O0=2,Ki=0,$f=1,Zf=2,Jf=3,Kf=4,jf=5,Qf=6,ed=7;var td=300,dr=301,So=302,Yc=303,$c=304,hc=1e3,Yi=1001,uc=1002,Tn=1003,B0=1004;var Oa=1005;var $n=1006,Zc=1007;var bs=1008;var jn=1009,nd=1010,id=1011,bo=1012,Jc=1013,Ni=1014,Ui=1015,Fi=1016,Kc=1017,jc=1018,pr=1020,sd=35902,rd=35899,od=1021,ad=1022,Oi=1023,xs=1026,Ms=1027,ld=1028,Qc=1029,qs=1030,eh=1031;var th=1033,Ba=33776,ka=33777,za=33778,Va=33779,nh=35840,ih=35841,sh=35842,rh=35843,oh=36196,ah=37492,lh=37496,ch=37488,hh=37489,Ga=37490,uh=37491,fh=37808,dh=37809,ph=37810,mh=37811,gh=37812,_h=37813,xh=37814,yh=37815,vh=37816,Sh=37817,bh=37818,Mh=37819,wh=37820,Ah=37821,Eh=36492,Th=36494,Ch=36495,Rh=36283,Ph=36284,Ha=36285,Ih=36286;var ra=2300,fc=2301,tc=2302,Uf=2303,Ff=2400,Of=2401,Bf=2402;var k0=3200;var Lh=0,z0=1,ws="",ci="srgb",oa="srgb-linear",aa="linear",At="srgb";var nc=7680;var V0=519,G0=512,H0=513,W0=514,cd=515,X0=516,q0=517,hd=518,ud=519,fd=35044;var dd="300 es",yi=2e3,co=2001;function Uv(i){for(let e=i.length-1;e>=0;--e)if(i[e]>=65535)return!0;return!1}function Fv(i){return ArrayBuffer.isView(i)&&!(i instanceof DataView)}function la(i){return document.createElementNS("http://www.w3.org/1999/xhtml",i)}function Y0(){let i=la("canvas");return i.style.display="block",i}var Ug={},ho=null;function ca(...i){let e="THREE."+i.shift();ho?ho("log",e,...i):console.log(e,...i)}function $0(i){let e=i[0];if(typeof e=="string"&&e.startsWith("TSL:")){let t=i[1];t&&t.isStackTrace?i[0]+=" "+t.getLocation():i[1]='Stack trace not available. Enable "THREE.Node.captureStackTrace" to capture stack traces.'}return i}function Ye(...i){i=$0(i);let e="THREE."+i.shift();if(ho)ho("warn",e,...i);else{let t=i[0];t&&t.isStackTrace?console.warn(t.getError(e)):console.warn(e,...i)}}function et(...i){i=$0(i);let e="THREE."+i.shift();if(ho)ho("error",e,...i);else{let t=i[0];t&&t.isStackTrace?console.error(t.getError(e)):console.error(e,...i)}}function ta(...i){let e=i.join(" ");e in Ug||(Ug[e]=!0,Ye(...i))}function Z0(i,e,t){return new Promise(function(n,s){function r(){switch(i.clientWaitSync(e,i.SYNC_FLUSH_COMMANDS_BIT,0)){case i.WAIT_FAILED:s();break;case i.TIMEOUT_EXPIRED:setTimeout(r,t);break;default:n()}}setTimeout(r,t)})}var J0={[ic]:ic,[rc]:lc,[oc]:oc,[lo]:ac,[sc]:sc,[lc]:rc,[cc]:cc,[ac]:lo},$i=class{addEventListener(e,t){this._listeners===void 0&&(this._listeners={});let n=this._listeners;n[e]===void 0&&(n[e]=[]),n[e].indexOf(t)===-1&&n[e].push(t)}hasEventListener(e,t){let n=this._listeners;return n===void 0?!1:n[e]!==void 0&&n[e].indexOf(t)!==-1}removeEventListener(e,t){let n=this._listeners;if(n===void 0)return;let s=n[e];if(s!==void 0){let r=s.indexOf(t);r!==-1&&s.splice(r,1)}}dispatchEvent(e){let t=this._listeners;if(t===void 0)return;let n=t[e.type];if(n!==void 0){e.target=this;let s=n.slice(0);for(let r=0,o=s.length;r<o;r++)s[r].call(this,e);e.target=null}}},On=["00","01","02","03","04","05","06","07","08","09","0a","0b","0c","0d","0e","0f","10","11","12","13","14","15","16","17","18","19","1a","1b","1c","1d","1e","1f","20","21","22","23","24","25","26","27","28","29","2a","2b","2c","2d","2e","2f","30","31","32","33","34","35","36","37","38","39","3a","3b","3c","3d","3e","3f","40","41","42","43","44","45","46","47","48","49","4a","4b","4c","4d","4e","4f","50","51","52","53","54","55","56","57","58","59","5a","5b","5c","5d","5e","5f","60","61","62","63","64","65","66","67","68","69","6a","6b","6c","6d","6e","6f","70","71","72","73","74","75","76","77","78","79","7a","7b","7c","7d","7e","7f","80","81","82","83","84","85","86","87","88","89","8a","8b","8c","8d","8e","8f","90","91","92","93","94","95","96","97","98","99","9a","9b","9c","9d","9e","9f","a0","a1","a2","a3","a4","a5","a6","a7","a8","a9","aa","ab","ac","ad","ae","af","b0","b1","b2","b3","b4","b5","b6","b7","b8","b9","ba","bb","bc","bd","be","bf","c0","c1","c2","c3","c4","c5","c6","c7","c8","c9","ca","cb","cc","cd","ce","cf","d0","d1","d2","d3","d4","d5","d6","d7","d8","d9","da","db","dc","dd","de","df","e0","e1","e2","e3","e4","e5","e6","e7","e8","e9","ea","eb","ec","ed","ee","ef","f0","f1","f2","f3","f4","f5","f6","f7","f8","f9","fa","fb","fc","fd","fe","ff"],Fg=1234567,oo=Math.PI/180,uo=180/Math.PI;function Ys(){let i=Math.random()*4294967295|0,e=Math.random()*4294967295|0,t=Math.random()*4294967295|0,n=Math.random()*4294967295|0;return(On[i&255]+On[i>>8&255]+On[i>>16&255]+On[i>>24&255]+"-"+On[e&255]+On[e>>8&255]+"-"+On[e>>16&15|64]+On[e>>24&255]+"-"+On[t&63|128]+On[t>>8&255]+"-"+On[t>>16&255]+On[t>>24&255]+On[n&255]+On[n>>8&255]+On[n>>16&255]+On[n>>24&255]).toLowerCase()}function ot(i,e,t){return Math.max(e,Math.min(t,i))}function pd(i,e){return(i%e+e)%e}function Ov(i,e,t,n,s){return n+(i-e)*(s-n)/(t-e)}function Bv(i,e,t){return i!==e?(t-i)/(e-i):0}function na(i,e,t){return(1-t)*i+t*e}function kv(i,e,t,n){return na(i,e,1-Math.exp(-t*n))}function zv(i,e=1){return e-Math.abs(pd(i,e*2)-e)}function Vv(i,e,t){return i<=e?0:i>=t?1:(i=(i-e)/(t-e),i*i*(3-2*i))}function Gv(i,e,t){return i<=e?0:i>=t?1:(i=(i-e)/(t-e),i*i*i*(i*(i*6-15)+10))}function Hv(i,e){return i+Math.floor(Math.random()*(e-i+1))}function Wv(i,e){return i+Math.random()*(e-i)}function Xv(i){return i*(.5-Math.random())}function qv(i){i!==void 0&&(Fg=i);let e=Fg+=1831565813;return e=Math.imul(e^e>>>15,e|1),e^=e+Math.imul(e^e>>>7,e|61),((e^e>>>14)>>>0)/4294967296}function Yv(i){return i*oo}function $v(i){return i*uo}function Zv(i){return i>0&&Number.isInteger(i)&&2**Math.round(Math.log2(i))===i}function Jv(i){return Math.pow(2,Math.ceil(Math.log(i)/Math.LN2))}function md(i){return Math.pow(2,Math.floor(Math.log(i)/Math.LN2))}function Kv(i,e,t,n,s){let r=Math.cos,o=Math.sin,a=r(t/2),c=o(t/2),l=r((e+n)/2),u=o((e+n)/2),h=r((e-n)/2),f=o((e-n)/2),d=r((n-e)/2),g=o((n-e)/2);switch(s){case"XYX":i.set(a*u,c*h,c*f,a*l);break;case"YZY":i.set(c*f,a*u,c*h,a*l);break;case"ZXZ":i.set(c*h,c*f,a*u,a*l);break;case"XZX":i.set(a*u,c*g,c*d,a*l);break;case"YXY":i.set(c*d,a*u,c*g,a*l);break;case"ZYZ":i.set(c*g,c*d,a*u,a*l);break;default:Ye("MathUtils: .setQuaternionFromProperEuler() encountered an unknown order: "+s)}}function Dh(i){switch(i.constructor){case Uint32Array:return 4294967295;case Uint16Array:return 65535;case Uint8Array:case Uint8ClampedArray:return 255;case Int32Array:return 2147483647;case Int16Array:return 32767;case Int8Array:return 127;default:return}}function gd(i,e){if(e.constructor===Float32Array)return i;let t=Dh(e);if(t===void 0)throw new Error("THREE.MathUtils: Invalid component type.");return Math.max(i/t,-1)}function _d(i,e){if(e.constructor===Float32Array)return i;let t=Dh(e);if(t===void 0)throw new Error("THREE.MathUtils: Invalid component type.");return Math.round(i*t)}var xd={DEG2RAD:oo,RAD2DEG:uo,generateUUID:Ys,clamp:ot,euclideanModulo:pd,mapLinear:Ov,inverseLerp:Bv,lerp:na,damp:kv,pingpong:zv,smoothstep:Vv,smootherstep:Gv,randInt:Hv,randFloat:Wv,randFloatSpread:Xv,seededRandom:qv,degToRad:Yv,radToDeg:$v,isPowerOfTwo:Zv,ceilPowerOfTwo:Jv,floorPowerOfTwo:md,setQuaternionFromProperEuler:Kv,normalize:_d,denormalize:gd},wd=class wd{constructor(e=0,t=0){this.x=e,this.y=t}get width(){return this.x}set width(e){this.x=e}get height(){return this.y}set height(e){this.y=e}set(e,t){return this.x=e,this.y=t,this}setScalar(e){return this.x=e,this.y=e,this}setX(e){return this.x=e,this}setY(e){return this.y=e,this}setComponent(e,t){switch(e){case 0:this.x=t;break;case 1:this.y=t;break;default:throw new Error("THREE.Vector2: index is out of range: "+e)}return this}getComponent(e){switch(e){case 0:return this.x;case 1:return this.y;default:throw new Error("THREE.Vector2: index is out of range: "+e)}}clone(){return new this.constructor(this.x,this.y)}copy(e){return this.x=e.x,this.y=e.y,this}add(e){return this.x+=e.x,this.y+=e.y,this}addScalar(e){return this.x+=e,this.y+=e,this}addVectors(e,t){return this.x=e.x+t.x,this.y=e.y+t.y,this}addScaledVector(e,t){return this.x+=e.x*t,this.y+=e.y*t,this}sub(e){return this.x-=e.x,this.y-=e.y,this}subScalar(e){return this.x-=e,this.y-=e,this}subVectors(e,t){return this.x=e.x-t.x,this.y=e.y-t.y,this}multiply(e){return this.x*=e.x,this.y*=e.y,this}multiplyScalar(e){return this.x*=e,this.y*=e,this}divide(e){return this.x/=e.x,this.y/=e.y,this}divideScalar(e){return this.multiplyScalar(1/e)}applyMatrix3(e){let t=this.x,n=this.y,s=e.elements;return this.x=s[0]*t+s[3]*n+s[6],this.y=s[1]*t+s[4]*n+s[7],this}min(e){return this.x=Math.min(this.x,e.x),this.y=Math.min(this.y,e.y),this}max(e){return this.x=Math.max(this.x,e.x),this.y=Math.max(this.y,e.y),this}clamp(e,t){return this.x=ot(this.x,e.x,t.x),this.y=ot(this.y,e.y,t.y),this}clampScalar(e,t){return this.x=ot(this.x,e,t),this.y=ot(this.y,e,t),this}clampLength(e,t){let n=this.length();return this.divideScalar(n||1).multiplyScalar(ot(n,e,t))}floor(){return this.x=Math.floor(this.x),this.y=Math.floor(this.y),this}ceil(){return this.x=Math.ceil(this.x),this.y=Math.ceil(this.y),this}round(){return this.x=Math.round(this.x),this.y=Math.round(this.y),this}roundToZero(){return this.x=Math.trunc(this.x),this.y=Math.trunc(this.y),this}negate(){return this.x=-this.x,this.y=-this.y,this}dot(e){return this.x*e.x+this.y*e.y}cross(e){return this.x*e.y-this.y*e.x}lengthSq(){return this.x*this.x+this.y*this.y}length(){return Math.sqrt(this.x*this.x+this.y*this.y)}manhattanLength(){return Math.abs(this.x)+Math.abs(this.y)}normalize(){return this.divideScalar(this.length()||1)}angle(){return Math.atan2(-this.y,-this.x)+Math.PI}angleTo(e){let t=Math.sqrt(this.lengthSq()*e.lengthSq());if(t===0)return Math.PI/2;let n=this.dot(e)/t;return Math.acos(ot(n,-1,1))}distanceTo(e){return Math.sqrt(this.distanceToSquared(e))}distanceToSquared(e){let t=this.x-e.x,n=this.y-e.y;return t*t+n*n}manhattanDistanceTo(e){return Math.abs(this.x-e.x)+Math.abs(this.y-e.y)}setLength(e){return this.normalize().multiplyScalar(e)}lerp(e,t){return this.x+=(e.x-this.x)*t,this.y+=(e.y-this.y)*t,this}lerpVectors(e,t,n){return this.x=e.x+(t.x-e.x)*n,this.y=e.y+(t.y-e.y)*n,this}equals(e){return e.x===this.x&&e.y===this.y}fromArray(e,t=0){return this.x=e[t],this.y=e[t+1],this}toArray(e=[],t=0){return e[t]=this.x,e[t+1]=this.y,e}fromBufferAttribute(e,t){return this.x=e.getX(t),this.y=e.getY(t),this}rotateAround(e,t){let n=Math.cos(t),s=Math.sin(t),r=this.x-e.x,o=this.y-e.y;return this.x=r*n-o*s+e.x,this.y=r*s+o*n+e.y,this}random(){return this.x=Math.random(),this.y=Math.random(),this}*[Symbol.iterator](){yield this.x,yield this.y}};wd.prototype.isVector2=!0;var He=wd,Zi=class{constructor(e=0,t=0,n=0,s=1){this.isQuaternion=!0,this._x=e,this._y=t,this._z=n,this._w=s}static slerpFlat(e,t,n,s,r,o,a){let c=n[s+0],l=n[s+1],u=n[s+2],h=n[s+3],f=r[o+0],d=r[o+1],g=r[o+2],v=r[o+3];if(h!==v||c!==f||l!==d||u!==g){let m=c*f+l*d+u*g+h*v;m<0&&(f=-f,d=-d,g=-g,v=-v,m=-m);let p=1-a;if(m<.9995){let y=Math.acos(m),T=Math.sin(y);p=Math.sin(p*y)/T,a=Math.sin(a*y)/T,c=c*p+f*a,l=l*p+d*a,u=u*p+g*a,h=h*p+v*a}else{c=c*p+f*a,l=l*p+d*a,u=u*p+g*a,h=h*p+v*a;let y=1/Math.sqrt(c*c+l*l+u*u+h*h);c*=y,l*=y,u*=y,h*=y}}e[t]=c,e[t+1]=l,e[t+2]=u,e[t+3]=h}static multiplyQuaternionsFlat(e,t,n,s,r,o){let a=n[s],c=n[s+1],l=n[s+2],u=n[s+3],h=r[o],f=r[o+1],d=r[o+2],g=r[o+3];return e[t]=a*g+u*h+c*d-l*f,e[t+1]=c*g+u*f+l*h-a*d,e[t+2]=l*g+u*d+a*f-c*h,e[t+3]=u*g-a*h-c*f-l*d,e}get x(){return this._x}set x(e){this._x=e,this._onChangeCallback()}get y(){return this._y}set y(e){this._y=e,this._onChangeCallback()}get z(){return this._z}set z(e){this._z=e,this._onChangeCallback()}get w(){return this._w}set w(e){this._w=e,this._onChangeCallback()}set(e,t,n,s){return this._x=e,this._y=t,this._z=n,this._w=s,this._onChangeCallback(),this}clone(){return new this.constructor(this._x,this._y,this._z,this._w)}copy(e){return this._x=e.x,this._y=e.y,this._z=e.z,this._w=e.w,this._onChangeCallback(),this}setFromEuler(e,t=!0){let n=e._x,s=e._y,r=e._z,o=e._order,a=Math.cos,c=Math.sin,l=a(n/2),u=a(s/2),h=a(r/2),f=c(n/2),d=c(s/2),g=c(r/2);switch(o){case"XYZ":this._x=f*u*h+l*d*g,this._y=l*d*h-f*u*g,this._z=l*u*g+f*d*h,this._w=l*u*h-f*d*g;break;case"YXZ":this._x=f*u*h+l*d*g,this._y=l*d*h-f*u*g,this._z=l*u*g-f*d*h,this._w=l*u*h+f*d*g;break;case"ZXY":this._x=f*u*h-l*d*g,this._y=l*d*h+f*u*g,this._z=l*u*g+f*d*h,this._w=l*u*h-f*d*g;break;case"ZYX":this._x=f*u*h-l*d*g,this._y=l*d*h+f*u*g,this._z=l*u*g-f*d*h,this._w=l*u*h+f*d*g;break;case"YZX":this._x=f*u*h+l*d*g,this._y=l*d*h+f*u*g,this._z=l*u*g-f*d*h,this._w=l*u*h-f*d*g;break;case"XZY":this._x=f*u*h-l*d*g,this._y=l*d*h-f*u*g,this._z=l*u*g+f*d*h,this._w=l*u*h+f*d*g;break;default:Ye("Quaternion: .setFromEuler() encountered an unknown order: "+o)}return t===!0&&this._onChangeCallback(),this}setFromAxisAngle(e,t){let n=t/2,s=Math.sin(n);return this._x=e.x*s,this._y=e.y*s,this._z=e.z*s,this._w=Math.cos(n),this._onChangeCallback(),this}setFromRotationMatrix(e){let t=e.elements,n=t[0],s=t[4],r=t[8],o=t[1],a=t[5],c=t[9],l=t[2],u=t[6],h=t[10],f=n+a+h;if(f>0){let d=.5/Math.sqrt(f+1);this._w=.25/d,this._x=(u-c)*d,this._y=(r-l)*d,this._z=(o-s)*d}else if(n>a&&n>h){let d=2*Math.sqrt(1+n-a-h);this._w=(u-c)/d,this._x=.25*d,this._y=(s+o)/d,this._z=(r+l)/d}else if(a>h){let d=2*Math.sqrt(1+a-n-h);this._w=(r-l)/d,this._x=(s+o)/d,this._y=.25*d,this._z=(c+u)/d}else{let d=2*Math.sqrt(1+h-n-a);this._w=(o-s)/d,this._x=(r+l)/d,this._y=(c+u)/d,this._z=.25*d}return this._onChangeCallback(),this}setFromUnitVectors(e,t){let n=e.dot(t)+1;return n<1e-8?(n=0,Math.abs(e.x)>Math.abs(e.z)?(this._x=-e.y,this._y=e.x,this._z=0,this._w=n):(this._x=0,this._y=-e.z,this._z=e.y,this._w=n)):(this._x=e.y*t.z-e.z*t.y,this._y=e.z*t.x-e.x*t.z,this._z=e.x*t.y-e.y*t.x,this._w=n),this.normalize()}angleTo(e){return 2*Math.acos(Math.abs(ot(this.dot(e),-1,1)))}rotateTowards(e,t){let n=this.angleTo(e);if(n===0)return this;let s=Math.min(1,t/n);return this.slerp(e,s),this}identity(){return this.set(0,0,0,1)}invert(){return this.conjugate()}conjugate(){return this._x*=-1,this._y*=-1,this._z*=-1,this._onChangeCallback(),this}dot(e){return this._x*e._x+this._y*e._y+this._z*e._z+this._w*e._w}lengthSq(){return this._x*this._x+this._y*this._y+this._z*this._z+this._w*this._w}length(){return Math.sqrt(this._x*this._x+this._y*this._y+this._z*this._z+this._w*this._w)}normalize(){let e=this.length();return e===0?(this._x=0,this._y=0,this._z=0,this._w=1):(e=1/e,this._x=this._x*e,this._y=this._y*e,this._z=this._z*e,this._w=this._w*e),this._onChangeCallback(),this}multiply(e){return this.multiplyQuaternions(this,e)}premultiply(e){return this.multiplyQuaternions(e,this)}multiplyQuaternions(e,t){let n=e._x,s=e._y,r=e._z,o=e._w,a=t._x,c=t._y,l=t._z,u=t._w;return this._x=n*u+o*a+s*l-r*c,this._y=s*u+o*c+r*a-n*l,this._z=r*u+o*l+n*c-s*a,this._w=o*u-n*a-s*c-r*l,this._onChangeCallback(),this}slerp(e,t){let n=e._x,s=e._y,r=e._z,o=e._w,a=this.dot(e);a<0&&(n=-n,s=-s,r=-r,o=-o,a=-a);let c=1-t;if(a<.9995){let l=Math.acos(a),u=Math.sin(l);c=Math.sin(c*l)/u,t=Math.sin(t*l)/u,this._x=this._x*c+n*t,this._y=this._y*c+s*t,this._z=this._z*c+r*t,this._w=this._w*c+o*t,this._onChangeCallback()}else this._x=this._x*c+n*t,this._y=this._y*c+s*t,this._z=this._z*c+r*t,this._w=this._w*c+o*t,this.normalize();return this}slerpQuaternions(e,t,n){return this.copy(e).slerp(t,n)}random(){let e=2*Math.PI*Math.random(),t=2*Math.PI*Math.random(),n=Math.random(),s=Math.sqrt(1-n),r=Math.sqrt(n);return this.set(s*Math.sin(e),s*Math.cos(e),r*Math.sin(t),r*Math.cos(t))}equals(e){return e._x===this._x&&e._y===this._y&&e._z===this._z&&e._w===this._w}fromArray(e,t=0){return this._x=e[t],this._y=e[t+1],this._z=e[t+2],this._w=e[t+3],this._onChangeCallback(),this}toArray(e=[],t=0){return e[t]=this._x,e[t+1]=this._y,e[t+2]=this._z,e[t+3]=this._w,e}fromBufferAttribute(e,t){return this._x=e.getX(t),this._y=e.getY(t),this._z=e.getZ(t),this._w=e.getW(t),this._onChangeCallback(),this}toJSON(){return this.toArray()}_onChange(e){return this._onChangeCallback=e,this}_onChangeCallback(){}*[Symbol.iterator](){yield this._x,yield this._y,yield this._z,yield this._w}},Ad=class Ad{constructor(e=0,t=0,n=0){this.x=e,this.y=t,this.z=n}set(e,t,n){return n===void 0&&(n=this.z),this.x=e,this.y=t,this.z=n,this}setScalar(e){return this.x=e,this.y=e,this.z=e,this}setX(e){return this.x=e,this}setY(e){return this.y=e,this}setZ(e){return this.z=e,this}setComponent(e,t){switch(e){case 0:this.x=t;break;case 1:this.y=t;break;case 2:this.z=t;break;default:throw new Error("THREE.Vector3: index is out of range: "+e)}return this}getComponent(e){switch(e){case 0:return this.x;case 1:return this.y;case 2:return this.z;default:throw new Error("THREE.Vector3: index is out of range: "+e)}}clone(){return new this.constructor(this.x,this.y,this.z)}copy(e){return this.x=e.x,this.y=e.y,this.z=e.z,this}add(e){return this.x+=e.x,this.y+=e.y,this.z+=e.z,this}addScalar(e){return this.x+=e,this.y+=e,this.z+=e,this}addVectors(e,t){return this.x=e.x+t.x,this.y=e.y+t.y,this.z=e.z+t.z,this}addScaledVector(e,t){return this.x+=e.x*t,this.y+=e.y*t,this.z+=e.z*t,this}sub(e){return this.x-=e.x,this.y-=e.y,this.z-=e.z,this}subScalar(e){return this.x-=e,this.y-=e,this.z-=e,this}subVectors(e,t){return this.x=e.x-t.x,this.y=e.y-t.y,this.z=e.z-t.z,this}multiply(e){return this.x*=e.x,this.y*=e.y,this.z*=e.z,this}multiplyScalar(e){return this.x*=e,this.y*=e,this.z*=e,this}multiplyVectors(e,t){return this.x=e.x*t.x,this.y=e.y*t.y,this.z=e.z*t.z,this}applyEuler(e){return this.applyQuaternion(Og.setFromEuler(e))}applyAxisAngle(e,t){return this.applyQuaternion(Og.setFromAxisAngle(e,t))}applyMatrix3(e){let t=this.x,n=this.y,s=this.z,r=e.elements;return this.x=r[0]*t+r[3]*n+r[6]*s,this.y=r[1]*t+r[4]*n+r[7]*s,this.z=r[2]*t+r[5]*n+r[8]*s,this}applyNormalMatrix(e){return this.applyMatrix3(e).normalize()}applyMatrix4(e){let t=this.x,n=this.y,s=this.z,r=e.elements,o=1/(r[3]*t+r[7]*n+r[11]*s+r[15]);return this.x=(r[0]*t+r[4]*n+r[8]*s+r[12])*o,this.y=(r[1]*t+r[5]*n+r[9]*s+r[13])*o,this.z=(r[2]*t+r[6]*n+r[10]*s+r[14])*o,this}applyQuaternion(e){let t=this.x,n=this.y,s=this.z,r=e.x,o=e.y,a=e.z,c=e.w,l=2*(o*s-a*n),u=2*(a*t-r*s),h=2*(r*n-o*t);return this.x=t+c*l+o*h-a*u,this.y=n+c*u+a*l-r*h,this.z=s+c*h+r*u-o*l,this}project(e){return this.applyMatrix4(e.matrixWorldInverse).applyMatrix4(e.projectionMatrix)}unproject(e){return this.applyMatrix4(e.projectionMatrixInverse).applyMatrix4(e.matrixWorld)}transformDirection(e){let t=this.x,n=this.y,s=this.z,r=e.elements;return this.x=r[0]*t+r[4]*n+r[8]*s,this.y=r[1]*t+r[5]*n+r[9]*s,this.z=r[2]*t+r[6]*n+r[10]*s,this.normalize()}divide(e){return this.x/=e.x,this.y/=e.y,this.z/=e.z,this}divideScalar(e){return this.multiplyScalar(1/e)}min(e){return this.x=Math.min(this.x,e.x),this.y=Math.min(this.y,e.y),this.z=Math.min(this.z,e.z),this}max(e){return this.x=Math.max(this.x,e.x),this.y=Math.max(this.y,e.y),this.z=Math.max(this.z,e.z),this}clamp(e,t){return this.x=ot(this.x,e.x,t.x),this.y=ot(this.y,e.y,t.y),this.z=ot(this.z,e.z,t.z),this}clampScalar(e,t){return this.x=ot(this.x,e,t),this.y=ot(this.y,e,t),this.z=ot(this.z,e,t),this}clampLength(e,t){let n=this.length();return this.divideScalar(n||1).multiplyScalar(ot(n,e,t))}floor(){return this.x=Math.floor(this.x),this.y=Math.floor(this.y),this.z=Math.floor(this.z),this}ceil(){return this.x=Math.ceil(this.x),this.y=Math.ceil(this.y),this.z=Math.ceil(this.z),this}round(){return this.x=Math.round(this.x),this.y=Math.round(this.y),this.z=Math.round(this.z),this}roundToZero(){return this.x=Math.trunc(this.x),this.y=Math.trunc(this.y),this.z=Math.trunc(this.z),this}negate(){return this.x=-this.x,this.y=-this.y,this.z=-this.z,this}dot(e){return this.x*e.x+this.y*e.y+this.z*e.z}lengthSq(){return this.x*this.x+this.y*this.y+this.z*this.z}length(){return Math.sqrt(this.x*this.x+this.y*this.y+this.z*this.z)}manhattanLength(){return Math.abs(this.x)+Math.abs(this.y)+Math.abs(this.z)}normalize(){return this.divideScalar(this.length()||1)}setLength(e){return this.normalize().multiplyScalar(e)}lerp(e,t){return this.x+=(e.x-this.x)*t,this.y+=(e.y-this.y)*t,this.z+=(e.z-this.z)*t,this}lerpVectors(e,t,n){return this.x=e.x+(t.x-e.x)*n,this.y=e.y+(t.y-e.y)*n,this.z=e.z+(t.z-e.z)*n,this}cross(e){return this.crossVectors(this,e)}crossVectors(e,t){let n=e.x,s=e.y,r=e.z,o=t.x,a=t.y,c=t.z;return this.x=s*c-r*a,this.y=r*o-n*c,this.z=n*a-s*o,this}projectOnVector(e){let t=e.lengthSq();if(t===0)return this.set(0,0,0);let n=e.dot(this)/t;return this.copy(e).multiplyScalar(n)}projectOnPlane(e){return cf.copy(this).projectOnVector(e),this.sub(cf)}reflect(e){return this.sub(cf.copy(e).multiplyScalar(2*this.dot(e)))}angleTo(e){let t=Math.sqrt(this.lengthSq()*e.lengthSq());if(t===0)return Math.PI/2;let n=this.dot(e)/t;return Math.acos(ot(n,-1,1))}distanceTo(e){return Math.sqrt(this.distanceToSquared(e))}distanceToSquared(e){let t=this.x-e.x,n=this.y-e.y,s=this.z-e.z;return t*t+n*n+s*s}manhattanDistanceTo(e){return Math.abs(this.x-e.x)+Math.abs(this.y-e.y)+Math.abs(this.z-e.z)}setFromSpherical(e){return this.setFromSphericalCoords(e.radius,e.phi,e.theta)}setFromSphericalCoords(e,t,n){let s=Math.sin(t)*e;return this.x=s*Math.sin(n),this.y=Math.cos(t)*e,this.z=s*Math.cos(n),this}setFromCylindrical(e){return this.setFromCylindricalCoords(e.radius,e.theta,e.y)}setFromCylindricalCoords(e,t,n){return this.x=e*Math.sin(t),this.y=n,this.z=e*Math.cos(t),this}setFromMatrixPosition(e){let t=e.elements;return this.x=t[12],this.y=t[13],this.z=t[14],this}setFromMatrixScale(e){let t=this.setFromMatrixColumn(e,0).length(),n=this.setFromMatrixColumn(e,1).length(),s=this.setFromMatrixColumn(e,2).length();return this.x=t,this.y=n,this.z=s,this}setFromMatrixColumn(e,t){return this.fromArray(e.elements,t*4)}setFromMatrix3Column(e,t){return this.fromArray(e.elements,t*3)}setFromEuler(e){return this.x=e._x,this.y=e._y,this.z=e._z,this}setFromColor(e){return this.x=e.r,this.y=e.g,this.z=e.b,this}equals(e){return e.x===this.x&&e.y===this.y&&e.z===this.z}fromArray(e,t=0){return this.x=e[t],this.y=e[t+1],this.z=e[t+2],this}toArray(e=[],t=0){return e[t]=this.x,e[t+1]=this.y,e[t+2]=this.z,e}fromBufferAttribute(e,t){return this.x=e.getX(t),this.y=e.getY(t),this.z=e.getZ(t),this}random(){return this.x=Math.random(),this.y=Math.random(),this.z=Math.random(),this}randomDirection(){let e=Math.random()*Math.PI*2,t=Math.random()*2-1,n=Math.sqrt(1-t*t);return this.x=n*Math.cos(e),this.y=t,this.z=n*Math.sin(e),this}*[Symbol.iterator](){yield this.x,yield this.y,yield this.z}};Ad.prototype.isVector3=!0;var U=Ad,cf=new U,Og=new Zi,Ed=class Ed{constructor(e,t,n,s,r,o,a,c,l){this.elements=[1,0,0,0,1,0,0,0,1],e!==void 0&&this.set(e,t,n,s,r,o,a,c,l)}set(e,t,n,s,r,o,a,c,l){let u=this.elements;return u[0]=e,u[1]=s,u[2]=a,u[3]=t,u[4]=r,u[5]=c,u[6]=n,u[7]=o,u[8]=l,this}identity(){return this.set(1,0,0,0,1,0,0,0,1),this}copy(e){let t=this.elements,n=e.elements;return t[0]=n[0],t[1]=n[1],t[2]=n[2],t[3]=n[3],t[4]=n[4],t[5]=n[5],t[6]=n[6],t[7]=n[7],t[8]=n[8],this}extractBasis(e,t,n){return e.setFromMatrix3Column(this,0),t.setFromMatrix3Column(this,1),n.setFromMatrix3Column(this,2),this}setFromMatrix4(e){let t=e.elements;return this.set(t[0],t[4],t[8],t[1],t[5],t[9],t[2],t[6],t[10]),this}multiply(e){return this.multiplyMatrices(this,e)}premultiply(e){return this.multiplyMatrices(e,this)}multiplyMatrices(e,t){let n=e.elements,s=t.elements,r=this.elements,o=n[0],a=n[3],c=n[6],l=n[1],u=n[4],h=n[7],f=n[2],d=n[5],g=n[8],v=s[0],m=s[3],p=s[6],y=s[1],T=s[4],S=s[7],C=s[2],E=s[5],x=s[8];return r[0]=o*v+a*y+c*C,r[3]=o*m+a*T+c*E,r[6]=o*p+a*S+c*x,r[1]=l*v+u*y+h*C,r[4]=l*m+u*T+h*E,r[7]=l*p+u*S+h*x,r[2]=f*v+d*y+g*C,r[5]=f*m+d*T+g*E,r[8]=f*p+d*S+g*x,this}multiplyScalar(e){let t=this.elements;return t[0]*=e,t[3]*=e,t[6]*=e,t[1]*=e,t[4]*=e,t[7]*=e,t[2]*=e,t[5]*=e,t[8]*=e,this}determinant(){let e=this.elements,t=e[0],n=e[1],s=e[2],r=e[3],o=e[4],a=e[5],c=e[6],l=e[7],u=e[8];return t*o*u-t*a*l-n*r*u+n*a*c+s*r*l-s*o*c}invert(){let e=this.elements,t=e[0],n=e[1],s=e[2],r=e[3],o=e[4],a=e[5],c=e[6],l=e[7],u=e[8],h=u*o-a*l,f=a*c-u*r,d=l*r-o*c,g=t*h+n*f+s*d;if(g===0)return this.set(0,0,0,0,0,0,0,0,0);let v=1/g;return e[0]=h*v,e[1]=(s*l-u*n)*v,e[2]=(a*n-s*o)*v,e[3]=f*v,e[4]=(u*t-s*c)*v,e[5]=(s*r-a*t)*v,e[6]=d*v,e[7]=(n*c-l*t)*v,e[8]=(o*t-n*r)*v,this}transpose(){let e,t=this.elements;return e=t[1],t[1]=t[3],t[3]=e,e=t[2],t[2]=t[6],t[6]=e,e=t[5],t[5]=t[7],t[7]=e,this}getNormalMatrix(e){return this.setFromMatrix4(e).invert().transpose()}transposeIntoArray(e){let t=this.elements;return e[0]=t[0],e[1]=t[3],e[2]=t[6],e[3]=t[1],e[4]=t[4],e[5]=t[7],e[6]=t[2],e[7]=t[5],e[8]=t[8],this}setUvTransform(e,t,n,s,r,o,a){let c=Math.cos(r),l=Math.sin(r);return this.set(n*c,n*l,-n*(c*o+l*a)+o+e,-s*l,s*c,-s*(-l*o+c*a)+a+t,0,0,1),this}scale(e,t){return ta("Matrix3: .scale() is deprecated. Use .makeScale() instead."),this.premultiply(hf.makeScale(e,t)),this}rotate(e){return ta("Matrix3: .rotate() is deprecated. Use .makeRotation() instead."),this.premultiply(hf.makeRotation(-e)),this}translate(e,t){return ta("Matrix3: .translate() is deprecated. Use .makeTranslation() instead."),this.premultiply(hf.makeTranslation(e,t)),this}makeTranslation(e,t){return e.isVector2?this.set(1,0,e.x,0,1,e.y,0,0,1):this.set(1,0,e,0,1,t,0,0,1),this}makeRotation(e){let t=Math.cos(e),n=Math.sin(e);return this.set(t,-n,0,n,t,0,0,0,1),this}makeScale(e,t){return this.set(e,0,0,0,t,0,0,0,1),this}equals(e){let t=this.elements,n=e.elements;for(let s=0;s<9;s++)if(t[s]!==n[s])return!1;return!0}fromArray(e,t=0){for(let n=0;n<9;n++)this.elements[n]=e[n+t];return this}toArray(e=[],t=0){let n=this.elements;return e[t]=n[0],e[t+1]=n[1],e[t+2]=n[2],e[t+3]=n[3],e[t+4]=n[4],e[t+5]=n[5],e[t+6]=n[6],e[t+7]=n[7],e[t+8]=n[8],e}clone(){return new this.constructor().fromArray(this.elements)}};Ed.prototype.isMatrix3=!0;var tt=Ed,hf=new tt,Bg=new tt().set(.4123908,.3575843,.1804808,.212639,.7151687,.0721923,.0193308,.1191948,.9505322),kg=new tt().set(3.2409699,-1.5373832,-.4986108,-.9692436,1.8759675,.0415551,.0556301,-.203977,1.0569715);function jv(){let i={enabled:!0,workingColorSpace:oa,spaces:{},convert:function(s,r,o){return this.enabled===!1||r===o||!r||!o||(this.spaces[r].transfer===At&&(s.r=_s(s.r),s.g=_s(s.g),s.b=_s(s.b)),this.spaces[r].primaries!==this.spaces[o].primaries&&(s.applyMatrix3(this.spaces[r].toXYZ),s.applyMatrix3(this.spaces[o].fromXYZ)),this.spaces[o].transfer===At&&(s.r=ao(s.r),s.g=ao(s.g),s.b=ao(s.b))),s},workingToColorSpace:function(s,r){return this.convert(s,this.workingColorSpace,r)},colorSpaceToWorking:function(s,r){return this.convert(s,r,this.workingColorSpace)},getPrimaries:function(s){return this.spaces[s].primaries},getTransfer:function(s){return s===ws?aa:this.spaces[s].transfer},getToneMappingMode:function(s){return this.spaces[s].outputColorSpaceConfig.toneMappingMode||"standard"},getLuminanceCoefficients:function(s,r=this.workingColorSpace){return s.fromArray(this.spaces[r].luminanceCoefficients)},define:function(s){Object.assign(this.spaces,s)},_getMatrix:function(s,r,o){return s.copy(this.spaces[o].fromXYZ).multiply(this.spaces[r].toXYZ)},_getDrawingBufferColorSpace:function(s){return this.spaces[s].outputColorSpaceConfig.drawingBufferColorSpace},_getUnpackColorSpace:function(s=this.workingColorSpace){return this.spaces[s].workingColorSpaceConfig.unpackColorSpace}},e=[.64,.33,.3,.6,.15,.06],t=[.2126,.7152,.0722],n=[.3127,.329];return i.define({[oa]:{primaries:e,whitePoint:n,transfer:aa,toXYZ:Bg,fromXYZ:kg,luminanceCoefficients:t,workingColorSpaceConfig:{unpackColorSpace:ci},outputColorSpaceConfig:{drawingBufferColorSpace:ci}},[ci]:{primaries:e,whitePoint:n,transfer:At,toXYZ:Bg,fromXYZ:kg,luminanceCoefficients:t,outputColorSpaceConfig:{drawingBufferColorSpace:ci}}}),i}var xt=jv();function _s(i){return i<.04045?i*.0773993808:Math.pow(i*.9478672986+.0521327014,2.4)}function ao(i){return i<.0031308?i*12.92:1.055*Math.pow(i,.41666)-.055}var Xr,dc=class{static getDataURL(e,t="image/png"){if(/^data:/i.test(e.src)||typeof HTMLCanvasElement>"u")return e.src;let n;if(e instanceof HTMLCanvasElement)n=e;else{Xr===void 0&&(Xr=la("canvas")),Xr.width=e.width,Xr.height=e.height;let s=Xr.getContext("2d");e instanceof ImageData?s.putImageData(e,0,0):s.drawImage(e,0,0,e.width,e.height),n=Xr}return n.toDataURL(t)}static sRGBToLinear(e){if(typeof HTMLImageElement<"u"&&e instanceof HTMLImageElement||typeof HTMLCanvasElement<"u"&&e instanceof HTMLCanvasElement||typeof ImageBitmap<"u"&&e instanceof ImageBitmap){let t=la("canvas");t.width=e.width,t.height=e.height;let n=t.getContext("2d");n.drawImage(e,0,0,e.width,e.height);let s=n.getImageData(0,0,e.width,e.height),r=s.data;for(let o=0;o<r.length;o++)r[o]=_s(r[o]/255)*255;return n.putImageData(s,0,0),t}else if(e.data){let t=e.data.slice(0);for(let n=0;n<t.length;n++)t instanceof Uint8Array||t instanceof Uint8ClampedArray?t[n]=Math.floor(_s(t[n]/255)*255):t[n]=_s(t[n]);return{data:t,width:e.width,height:e.height}}else return Ye("ImageUtils.sRGBToLinear(): Unsupported image type. No color space conversion applied."),e}},Qv=0,fo=class{constructor(e=null){this.isTextureSource=!0,Object.defineProperty(this,"id",{value:Qv++}),this.uuid=Ys(),this.data=e,this.dataReady=!0,this.version=0}getSize(e){let t=this.data;return typeof HTMLVideoElement<"u"&&t instanceof HTMLVideoElement?e.set(t.videoWidth,t.videoHeight,0):typeof VideoFrame<"u"&&t instanceof VideoFrame?e.set(t.displayWidth,t.displayHeight,0):t!==null?e.set(t.width||0,t.height||0,t.depth||0):e.set(0,0,0),e}set needsUpdate(e){e===!0&&this.version++}toJSON(e){let t=e===void 0||typeof e=="string";if(!t&&e.images[this.uuid]!==void 0)return e.images[this.uuid];let n={uuid:this.uuid,url:""},s=this.data;if(s!==null){let r;if(Array.isArray(s)){r=[];for(let o=0,a=s.length;o<a;o++)s[o].isDataTexture?r.push(uf(s[o].image)):r.push(uf(s[o]))}else r=uf(s);n.url=r}return t||(e.images[this.uuid]=n),n}};function uf(i){return typeof HTMLImageElement<"u"&&i instanceof HTMLImageElement||typeof HTMLCanvasElement<"u"&&i instanceof HTMLCanvasElement||typeof ImageBitmap<"u"&&i instanceof ImageBitmap?dc.getDataURL(i):i.data?{data:Array.from(i.data),width:i.width,height:i.height,type:i.data.constructor.name}:(Ye("Texture: Unable to serialize Texture."),{})}var eS=0,ff=new U,Kn=class i extends $i{constructor(e=i.DEFAULT_IMAGE,t=i.DEFAULT_MAPPING,n=Yi,s=Yi,r=$n,o=bs,a=Oi,c=jn,l=i.DEFAULT_ANISOTROPY,u=ws){super(),this.isTexture=!0,Object.defineProperty(this,"id",{value:eS++}),this.uuid=Ys(),this.name="",this.source=new fo(e),this.mipmaps=[],this.mapping=t,this.channel=0,this.wrapS=n,this.wrapT=s,this.magFilter=r,this.minFilter=o,this.anisotropy=l,this.format=a,this.internalFormat=null,this.type=c,this.offset=new He(0,0),this.repeat=new He(1,1),this.center=new He(0,0),this.rotation=0,this.matrixAutoUpdate=!0,this.matrix=new tt,this.generateMipmaps=!0,this.mipmapsAutoUpdate=!0,this.premultiplyAlpha=!1,this.flipY=!0,this.unpackAlignment=4,this.colorSpace=u,this.userData={},this.updateRanges=[],this.version=0,this.onUpdate=null,this.renderTarget=null,this.isRenderTargetTexture=!1,this.isArrayTexture=!!(e&&e.depth&&e.depth>1),this.pmremVersion=0,this.isPMREMTexture=!1,this.normalized=!1}get width(){return this.source.getSize(ff).x}get height(){return this.source.getSize(ff).y}get depth(){return this.source.getSize(ff).z}get image(){return this.source.data}set image(e){this.source.data=e}updateMatrix(){this.matrix.setUvTransform(this.offset.x,this.offset.y,this.repeat.x,this.repeat.y,this.rotation,this.center.x,this.center.y)}addUpdateRange(e,t){this.updateRanges.push({start:e,count:t})}clearUpdateRanges(){this.updateRanges.length=0}clone(){return new this.constructor().copy(this)}copy(e){return this.name=e.name,this.source=e.source,this.mipmaps=e.mipmaps.slice(0),this.mapping=e.mapping,this.channel=e.channel,this.wrapS=e.wrapS,this.wrapT=e.wrapT,this.magFilter=e.magFilter,this.minFilter=e.minFilter,this.anisotropy=e.anisotropy,this.format=e.format,this.internalFormat=e.internalFormat,this.type=e.type,this.normalized=e.normalized,this.offset.copy(e.offset),this.repeat.copy(e.repeat),this.center.copy(e.center),this.rotation=e.rotation,this.matrixAutoUpdate=e.matrixAutoUpdate,this.matrix.copy(e.matrix),this.generateMipmaps=e.generateMipmaps,this.mipmapsAutoUpdate=e.mipmapsAutoUpdate,this.premultiplyAlpha=e.premultiplyAlpha,this.flipY=e.flipY,this.unpackAlignment=e.unpackAlignment,this.colorSpace=e.colorSpace,this.renderTarget=e.renderTarget,this.isRenderTargetTexture=e.isRenderTargetTexture,this.isPMREMTexture=e.isPMREMTexture,this.isArrayTexture=e.isArrayTexture,this.userData=JSON.parse(JSON.stringify(e.userData)),this.needsUpdate=!0,this}setValues(e){for(let t in e){let n=e[t];if(n===void 0){Ye(`Texture.setValues(): parameter '${t}' has value of undefined.`);continue}let s=this[t];if(s===void 0){Ye(`Texture.setValues(): property '${t}' does not exist.`);continue}s&&n&&s.isVector2&&n.isVector2||s&&n&&s.isVector3&&n.isVector3||s&&n&&s.isMatrix3&&n.isMatrix3?s.copy(n):this[t]=n}}toJSON(e){let t=e===void 0||typeof e=="string";if(!t&&e.textures[this.uuid]!==void 0)return e.textures[this.uuid];let n={metadata:{version:4.7,type:"Texture",generator:"Texture.toJSON"},uuid:this.uuid,name:this.name,image:this.source.toJSON(e).uuid,mapping:this.mapping,channel:this.channel,repeat:[this.repeat.x,this.repeat.y],offset:[this.offset.x,this.offset.y],center:[this.center.x,this.center.y],rotation:this.rotation,wrap:[this.wrapS,this.wrapT],format:this.format,internalFormat:this.internalFormat,type:this.type,normalized:this.normalized,colorSpace:this.colorSpace,minFilter:this.minFilter,magFilter:this.magFilter,anisotropy:this.anisotropy,flipY:this.flipY,generateMipmaps:this.generateMipmaps,mipmapsAutoUpdate:this.mipmapsAutoUpdate,premultiplyAlpha:this.premultiplyAlpha,unpackAlignment:this.unpackAlignment};return Object.keys(this.userData).length>0&&(n.userData=this.userData),t||(e.textures[this.uuid]=n),n}dispose(){this.dispatchEvent({type:"dispose"})}transformUv(e){if(this.mapping!==td)return e;if(e.applyMatrix3(this.matrix),e.x<0||e.x>1)switch(this.wrapS){case hc:e.x=e.x-Math.floor(e.x);break;case Yi:e.x=e.x<0?0:1;break;case uc:Math.abs(Math.floor(e.x)%2)===1?e.x=Math.ceil(e.x)-e.x:e.x=e.x-Math.floor(e.x);break}if(e.y<0||e.y>1)switch(this.wrapT){case hc:e.y=e.y-Math.floor(e.y);break;case Yi:e.y=e.y<0?0:1;break;case uc:Math.abs(Math.floor(e.y)%2)===1?e.y=Math.ceil(e.y)-e.y:e.y=e.y-Math.floor(e.y);break}return this.flipY&&(e.y=1-e.y),e}set needsUpdate(e){e===!0&&(this.version++,this.source.needsUpdate=!0)}set needsPMREMUpdate(e){e===!0&&this.pmremVersion++}};Kn.DEFAULT_IMAGE=null;Kn.DEFAULT_MAPPING=td;Kn.DEFAULT_ANISOTROPY=1;var Td=class Td{constructor(e=0,t=0,n=0,s=1){this.x=e,this.y=t,this.z=n,this.w=s}get width(){return this.z}set width(e){this.z=e}get height(){return this.w}set height(e){this.w=e}set(e,t,n,s){return this.x=e,this.y=t,this.z=n,this.w=s,this}setScalar(e){return this.x=e,this.y=e,this.z=e,this.w=e,this}setX(e){return this.x=e,this}setY(e){return this.y=e,this}setZ(e){return this.z=e,this}setW(e){return this.w=e,this}setComponent(e,t){switch(e){case 0:this.x=t;break;case 1:this.y=t;break;case 2:this.z=t;break;case 3:this.w=t;break;default:throw new Error("THREE.Vector4: index is out of range: "+e)}return this}getComponent(e){switch(e){case 0:return this.x;case 1:return this.y;case 2:return this.z;case 3:return this.w;default:throw new Error("THREE.Vector4: index is out of range: "+e)}}clone(){return new this.constructor(this.x,this.y,this.z,this.w)}copy(e){return this.x=e.x,this.y=e.y,this.z=e.z,this.w=e.w!==void 0?e.w:1,this}add(e){return this.x+=e.x,this.y+=e.y,this.z+=e.z,this.w+=e.w,this}addScalar(e){return this.x+=e,this.y+=e,this.z+=e,this.w+=e,this}addVectors(e,t){return this.x=e.x+t.x,this.y=e.y+t.y,this.z=e.z+t.z,this.w=e.w+t.w,this}addScaledVector(e,t){return this.x+=e.x*t,this.y+=e.y*t,this.z+=e.z*t,this.w+=e.w*t,this}sub(e){return this.x-=e.x,this.y-=e.y,this.z-=e.z,this.w-=e.w,this}subScalar(e){return this.x-=e,this.y-=e,this.z-=e,this.w-=e,this}subVectors(e,t){return this.x=e.x-t.x,this.y=e.y-t.y,this.z=e.z-t.z,this.w=e.w-t.w,this}multiply(e){return this.x*=e.x,this.y*=e.y,this.z*=e.z,this.w*=e.w,this}multiplyScalar(e){return this.x*=e,this.y*=e,this.z*=e,this.w*=e,this}applyMatrix4(e){let t=this.x,n=this.y,s=this.z,r=this.w,o=e.elements;return this.x=o[0]*t+o[4]*n+o[8]*s+o[12]*r,this.y=o[1]*t+o[5]*n+o[9]*s+o[13]*r,this.z=o[2]*t+o[6]*n+o[10]*s+o[14]*r,this.w=o[3]*t+o[7]*n+o[11]*s+o[15]*r,this}divide(e){return this.x/=e.x,this.y/=e.y,this.z/=e.z,this.w/=e.w,this}divideScalar(e){return this.multiplyScalar(1/e)}setAxisAngleFromQuaternion(e){this.w=2*Math.acos(e.w);let t=Math.sqrt(1-e.w*e.w);return t<1e-4?(this.x=1,this.y=0,this.z=0):(this.x=e.x/t,this.y=e.y/t,this.z=e.z/t),this}setAxisAngleFromRotationMatrix(e){let t,n,s,r,c=e.elements,l=c[0],u=c[4],h=c[8],f=c[1],d=c[5],g=c[9],v=c[2],m=c[6],p=c[10];if(Math.abs(u-f)<.01&&Math.abs(h-v)<.01&&Math.abs(g-m)<.01){if(Math.abs(u+f)<.1&&Math.abs(h+v)<.1&&Math.abs(g+m)<.1&&Math.abs(l+d+p-3)<.1)return this.set(1,0,0,0),this;t=Math.PI;let T=(l+1)/2,S=(d+1)/2,C=(p+1)/2,E=(u+f)/4,x=(h+v)/4,A=(g+m)/4;return T>S&&T>C?T<.01?(n=0,s=.707106781,r=.707106781):(n=Math.sqrt(T),s=E/n,r=x/n):S>C?S<.01?(n=.707106781,s=0,r=.707106781):(s=Math.sqrt(S),n=E/s,r=A/s):C<.01?(n=.707106781,s=.707106781,r=0):(r=Math.sqrt(C),n=x/r,s=A/r),this.set(n,s,r,t),this}let y=Math.sqrt((m-g)*(m-g)+(h-v)*(h-v)+(f-u)*(f-u));return Math.abs(y)<.001&&(y=1),this.x=(m-g)/y,this.y=(h-v)/y,this.z=(f-u)/y,this.w=Math.acos((l+d+p-1)/2),this}setFromMatrixPosition(e){let t=e.elements;return this.x=t[12],this.y=t[13],this.z=t[14],this.w=t[15],this}min(e){return this.x=Math.min(this.x,e.x),this.y=Math.min(this.y,e.y),this.z=Math.min(this.z,e.z),this.w=Math.min(this.w,e.w),this}max(e){return this.x=Math.max(this.x,e.x),this.y=Math.max(this.y,e.y),this.z=Math.max(this.z,e.z),this.w=Math.max(this.w,e.w),this}clamp(e,t){return this.x=ot(this.x,e.x,t.x),this.y=ot(this.y,e.y,t.y),this.z=ot(this.z,e.z,t.z),this.w=ot(this.w,e.w,t.w),this}clampScalar(e,t){return this.x=ot(this.x,e,t),this.y=ot(this.y,e,t),this.z=ot(this.z,e,t),this.w=ot(this.w,e,t),this}clampLength(e,t){let n=this.length();return this.divideScalar(n||1).multiplyScalar(ot(n,e,t))}floor(){return this.x=Math.floor(this.x),this.y=Math.floor(this.y),this.z=Math.floor(this.z),this.w=Math.floor(this.w),this}ceil(){return this.x=Math.ceil(this.x),this.y=Math.ceil(this.y),this.z=Math.ceil(this.z),this.w=Math.ceil(this.w),this}round(){return this.x=Math.round(this.x),this.y=Math.round(this.y),this.z=Math.round(this.z),this.w=Math.round(this.w),this}roundToZero(){return this.x=Math.trunc(this.x),this.y=Math.trunc(this.y),this.z=Math.trunc(this.z),this.w=Math.trunc(this.w),this}negate(){return this.x=-this.x,this.y=-this.y,this.z=-this.z,this.w=-this.w,this}dot(e){return this.x*e.x+this.y*e.y+this.z*e.z+this.w*e.w}lengthSq(){return this.x*this.x+this.y*this.y+this.z*this.z+this.w*this.w}length(){return Math.sqrt(this.x*this.x+this.y*this.y+this.z*this.z+this.w*this.w)}manhattanLength(){return Math.abs(this.x)+Math.abs(this.y)+Math.abs(this.z)+Math.abs(this.w)}normalize(){return this.divideScalar(this.length()||1)}setLength(e){return this.normalize().multiplyScalar(e)}lerp(e,t){return this.x+=(e.x-this.x)*t,this.y+=(e.y-this.y)*t,this.z+=(e.z-this.z)*t,this.w+=(e.w-this.w)*t,this}lerpVectors(e,t,n){return this.x=e.x+(t.x-e.x)*n,this.y=e.y+(t.y-e.y)*n,this.z=e.z+(t.z-e.z)*n,this.w=e.w+(t.w-e.w)*n,this}equals(e){return e.x===this.x&&e.y===this.y&&e.z===this.z&&e.w===this.w}fromArray(e,t=0){return this.x=e[t],this.y=e[t+1],this.z=e[t+2],this.w=e[t+3],this}toArray(e=[],t=0){return e[t]=this.x,e[t+1]=this.y,e[t+2]=this.z,e[t+3]=this.w,e}fromBufferAttribute(e,t){return this.x=e.getX(t),this.y=e.getY(t),this.z=e.getZ(t),this.w=e.getW(t),this}random(){return this.x=Math.random(),this.y=Math.random(),this.z=Math.random(),this.w=Math.random(),this}*[Symbol.iterator](){yield this.x,yield this.y,yield this.z,yield this.w}};Td.prototype.isVector4=!0;var Et=Td,pc=class extends $i{constructor(e=1,t=1,n={}){super(),n=Object.assign({generateMipmaps:!1,internalFormat:null,minFilter:$n,depthBuffer:!0,stencilBuffer:!1,resolveColorBuffer:!0,resolveDepthBuffer:!0,resolveStencilBuffer:!0,storeMultisampledColorBuffer:!0,storeMultisampledDepthBuffer:!0,storeMultisampledStencilBuffer:!0,depthTexture:null,samples:0,count:1,depth:1,multiview:!1,useArrayDepthTexture:!1},n),this.isRenderTarget=!0,this.width=e,this.height=t,this.depth=n.depth,this.scissor=new Et(0,0,e,t),this.scissorTest=!1,this.viewport=new Et(0,0,e,t),this.textures=[];let s=n.count;for(let r=0;r<s;r++)this.textures[r]=new Kn({width:e,height:t,depth:n.depth}),this.textures[r].isRenderTargetTexture=!0,this.textures[r].renderTarget=this;this._setTextureOptions(n),this.depthBuffer=n.depthBuffer,this.stencilBuffer=n.stencilBuffer,this.resolveColorBuffer=n.resolveColorBuffer,this.resolveDepthBuffer=n.resolveDepthBuffer,this.resolveStencilBuffer=n.resolveStencilBuffer,this.storeMultisampledColorBuffer=n.storeMultisampledColorBuffer,this.storeMultisampledDepthBuffer=n.storeMultisampledDepthBuffer,this.storeMultisampledStencilBuffer=n.storeMultisampledStencilBuffer,this._depthTexture=null,this.depthTexture=n.depthTexture,this.samples=n.samples,this.multiview=n.multiview,this.useArrayDepthTexture=n.useArrayDepthTexture}_setTextureOptions(e={}){let t={minFilter:$n,generateMipmaps:!1,flipY:!1,internalFormat:null};e.mapping!==void 0&&(t.mapping=e.mapping),e.wrapS!==void 0&&(t.wrapS=e.wrapS),e.wrapT!==void 0&&(t.wrapT=e.wrapT),e.wrapR!==void 0&&(t.wrapR=e.wrapR),e.magFilter!==void 0&&(t.magFilter=e.magFilter),e.minFilter!==void 0&&(t.minFilter=e.minFilter),e.format!==void 0&&(t.format=e.format),e.type!==void 0&&(t.type=e.type),e.anisotropy!==void 0&&(t.anisotropy=e.anisotropy),e.colorSpace!==void 0&&(t.colorSpace=e.colorSpace),e.flipY!==void 0&&(t.flipY=e.flipY),e.generateMipmaps!==void 0&&(t.generateMipmaps=e.generateMipmaps),e.mipmapsAutoUpdate!==void 0&&(t.mipmapsAutoUpdate=e.mipmapsAutoUpdate),e.internalFormat!==void 0&&(t.internalFormat=e.internalFormat);for(let n=0;n<this.textures.length;n++)this.textures[n].setValues(t)}get texture(){return this.textures[0]}set texture(e){this.textures[0]=e}set depthTexture(e){this._depthTexture!==null&&this._depthTexture.renderTarget===this&&(this._depthTexture.renderTarget=null),e!==null&&e.renderTarget===null&&(e.renderTarget=this),this._depthTexture=e}get depthTexture(){return this._depthTexture}setSize(e,t,n=1){if(this.width!==e||this.height!==t||this.depth!==n){this.width=e,this.height=t,this.depth=n;for(let s=0,r=this.textures.length;s<r;s++)this.textures[s].image.width=e,this.textures[s].image.height=t,this.textures[s].image.depth=n,this.textures[s].isData3DTexture!==!0&&(this.textures[s].isArrayTexture=this.textures[s].image.depth>1);this.dispose()}this.viewport.set(0,0,e,t),this.scissor.set(0,0,e,t)}clone(){return new this.constructor().copy(this)}copy(e){this.width=e.width,this.height=e.height,this.depth=e.depth,this.scissor.copy(e.scissor),this.scissorTest=e.scissorTest,this.viewport.copy(e.viewport),this.textures.length=0;for(let t=0,n=e.textures.length;t<n;t++){this.textures[t]=e.textures[t].clone(),this.textures[t].isRenderTargetTexture=!0,this.textures[t].renderTarget=this;let s=Object.assign({},e.textures[t].image);this.textures[t].source=new fo(s)}if(this.depthBuffer=e.depthBuffer,this.stencilBuffer=e.stencilBuffer,this.resolveColorBuffer=e.resolveColorBuffer,this.resolveDepthBuffer=e.resolveDepthBuffer,this.resolveStencilBuffer=e.resolveStencilBuffer,this.storeMultisampledColorBuffer=e.storeMultisampledColorBuffer,this.storeMultisampledDepthBuffer=e.storeMultisampledDepthBuffer,this.storeMultisampledStencilBuffer=e.storeMultisampledStencilBuffer,e.depthTexture!==null)if(e.depthTexture.renderTarget===e){let t=e.depthTexture.clone();t.renderTarget=null,this.depthTexture=t}else this.depthTexture=e.depthTexture;else this.depthTexture=null;return this.samples=e.samples,this.multiview=e.multiview,this.useArrayDepthTexture=e.useArrayDepthTexture,this}dispose(){this.dispatchEvent({type:"dispose"})}},fi=class extends pc{constructor(e=1,t=1,n={}){super(e,t,n),this.isWebGLRenderTarget=!0}},ha=class extends Kn{constructor(e=null,t=1,n=1,s=1){super(null),this.isDataArrayTexture=!0,this.image={data:e,width:t,height:n,depth:s},this.magFilter=Tn,this.minFilter=Tn,this.wrapR=Yi,this.generateMipmaps=!1,this.flipY=!1,this.unpackAlignment=1,this.layerUpdates=new Set}copy(e){return super.copy(e),this.wrapR=e.wrapR,this}addLayerUpdate(e){this.layerUpdates.add(e)}clearLayerUpdates(){this.layerUpdates.clear()}};var mc=class extends Kn{constructor(e=null,t=1,n=1,s=1){super(null),this.isData3DTexture=!0,this.image={data:e,width:t,height:n,depth:s},this.magFilter=Tn,this.minFilter=Tn,this.wrapR=Yi,this.generateMipmaps=!1,this.flipY=!1,this.unpackAlignment=1}copy(e){return super.copy(e),this.wrapR=e.wrapR,this}};var Xc=class Xc{constructor(e,t,n,s,r,o,a,c,l,u,h,f,d,g,v,m){this.elements=[1,0,0,0,0,1,0,0,0,0,1,0,0,0,0,1],e!==void 0&&this.set(e,t,n,s,r,o,a,c,l,u,h,f,d,g,v,m)}set(e,t,n,s,r,o,a,c,l,u,h,f,d,g,v,m){let p=this.elements;return p[0]=e,p[4]=t,p[8]=n,p[12]=s,p[1]=r,p[5]=o,p[9]=a,p[13]=c,p[2]=l,p[6]=u,p[10]=h,p[14]=f,p[3]=d,p[7]=g,p[11]=v,p[15]=m,this}identity(){return this.set(1,0,0,0,0,1,0,0,0,0,1,0,0,0,0,1),this}clone(){return new Xc().fromArray(this.elements)}copy(e){let t=this.elements,n=e.elements;return t[0]=n[0],t[1]=n[1],t[2]=n[2],t[3]=n[3],t[4]=n[4],t[5]=n[5],t[6]=n[6],t[7]=n[7],t[8]=n[8],t[9]=n[9],t[10]=n[10],t[11]=n[11],t[12]=n[12],t[13]=n[13],t[14]=n[14],t[15]=n[15],this}copyPosition(e){let t=this.elements,n=e.elements;return t[12]=n[12],t[13]=n[13],t[14]=n[14],this}setFromMatrix3(e){let t=e.elements;return this.set(t[0],t[3],t[6],0,t[1],t[4],t[7],0,t[2],t[5],t[8],0,0,0,0,1),this}extractBasis(e,t,n){return this.determinantAffine()===0?(e.set(1,0,0),t.set(0,1,0),n.set(0,0,1),this):(e.setFromMatrixColumn(this,0),t.setFromMatrixColumn(this,1),n.setFromMatrixColumn(this,2),this)}makeBasis(e,t,n){return this.set(e.x,t.x,n.x,0,e.y,t.y,n.y,0,e.z,t.z,n.z,0,0,0,0,1),this}extractRotation(e){if(e.determinantAffine()===0)return this.identity();let t=this.elements,n=e.elements,s=1/qr.setFromMatrixColumn(e,0).length(),r=1/qr.setFromMatrixColumn(e,1).length(),o=1/qr.setFromMatrixColumn(e,2).length();return t[0]=n[0]*s,t[1]=n[1]*s,t[2]=n[2]*s,t[3]=0,t[4]=n[4]*r,t[5]=n[5]*r,t[6]=n[6]*r,t[7]=0,t[8]=n[8]*o,t[9]=n[9]*o,t[10]=n[10]*o,t[11]=0,t[12]=0,t[13]=0,t[14]=0,t[15]=1,this}makeRotationFromEuler(e){let t=this.elements,n=e.x,s=e.y,r=e.z,o=Math.cos(n),a=Math.sin(n),c=Math.cos(s),l=Math.sin(s),u=Math.cos(r),h=Math.sin(r);if(e.order==="XYZ"){let f=o*u,d=o*h,g=a*u,v=a*h;t[0]=c*u,t[4]=-c*h,t[8]=l,t[1]=d+g*l,t[5]=f-v*l,t[9]=-a*c,t[2]=v-f*l,t[6]=g+d*l,t[10]=o*c}else if(e.order==="YXZ"){let f=c*u,d=c*h,g=l*u,v=l*h;t[0]=f+v*a,t[4]=g*a-d,t[8]=o*l,t[1]=o*h,t[5]=o*u,t[9]=-a,t[2]=d*a-g,t[6]=v+f*a,t[10]=o*c}else if(e.order==="ZXY"){let f=c*u,d=c*h,g=l*u,v=l*h;t[0]=f-v*a,t[4]=-o*h,t[8]=g+d*a,t[1]=d+g*a,t[5]=o*u,t[9]=v-f*a,t[2]=-o*l,t[6]=a,t[10]=o*c}else if(e.order==="ZYX"){let f=o*u,d=o*h,g=a*u,v=a*h;t[0]=c*u,t[4]=g*l-d,t[8]=f*l+v,t[1]=c*h,t[5]=v*l+f,t[9]=d*l-g,t[2]=-l,t[6]=a*c,t[10]=o*c}else if(e.order==="YZX"){let f=o*c,d=o*l,g=a*c,v=a*l;t[0]=c*u,t[4]=v-f*h,t[8]=g*h+d,t[1]=h,t[5]=o*u,t[9]=-a*u,t[2]=-l*u,t[6]=d*h+g,t[10]=f-v*h}else if(e.order==="XZY"){let f=o*c,d=o*l,g=a*c,v=a*l;t[0]=c*u,t[4]=-h,t[8]=l*u,t[1]=f*h+v,t[5]=o*u,t[9]=d*h-g,t[2]=g*h-d,t[6]=a*u,t[10]=v*h+f}return t[3]=0,t[7]=0,t[11]=0,t[12]=0,t[13]=0,t[14]=0,t[15]=1,this}makeRotationFromQuaternion(e){return this.compose(tS,e,nS)}lookAt(e,t,n){let s=this.elements;return ai.subVectors(e,t),ai.lengthSq()===0&&(ai.z=1),ai.normalize(),Ns.crossVectors(n,ai),Ns.lengthSq()===0&&(Math.abs(n.z)===1?ai.x+=1e-4:ai.z+=1e-4,ai.normalize(),Ns.crossVectors(n,ai)),Ns.normalize(),Rl.crossVectors(ai,Ns),s[0]=Ns.x,s[4]=Rl.x,s[8]=ai.x,s[1]=Ns.y,s[5]=Rl.y,s[9]=ai.y,s[2]=Ns.z,s[6]=Rl.z,s[10]=ai.z,this}multiply(e){return this.multiplyMatrices(this,e)}premultiply(e){return this.multiplyMatrices(e,this)}multiplyMatrices(e,t){let n=e.elements,s=t.elements,r=this.elements,o=n[0],a=n[4],c=n[8],l=n[12],u=n[1],h=n[5],f=n[9],d=n[13],g=n[2],v=n[6],m=n[10],p=n[14],y=n[3],T=n[7],S=n[11],C=n[15],E=s[0],x=s[4],A=s[8],F=s[12],L=s[1],I=s[5],k=s[9],V=s[13],N=s[2],W=s[6],$=s[10],H=s[14],ce=s[3],K=s[7],Q=s[11],se=s[15];return r[0]=o*E+a*L+c*N+l*ce,r[4]=o*x+a*I+c*W+l*K,r[8]=o*A+a*k+c*$+l*Q,r[12]=o*F+a*V+c*H+l*se,r[1]=u*E+h*L+f*N+d*ce,r[5]=u*x+h*I+f*W+d*K,r[9]=u*A+h*k+f*$+d*Q,r[13]=u*F+h*V+f*H+d*se,r[2]=g*E+v*L+m*N+p*ce,r[6]=g*x+v*I+m*W+p*K,r[10]=g*A+v*k+m*$+p*Q,r[14]=g*F+v*V+m*H+p*se,r[3]=y*E+T*L+S*N+C*ce,r[7]=y*x+T*I+S*W+C*K,r[11]=y*A+T*k+S*$+C*Q,r[15]=y*F+T*V+S*H+C*se,this}multiplyScalar(e){let t=this.elements;return t[0]*=e,t[4]*=e,t[8]*=e,t[12]*=e,t[1]*=e,t[5]*=e,t[9]*=e,t[13]*=e,t[2]*=e,t[6]*=e,t[10]*=e,t[14]*=e,t[3]*=e,t[7]*=e,t[11]*=e,t[15]*=e,this}determinant(){let e=this.elements,t=e[0],n=e[4],s=e[8],r=e[12],o=e[1],a=e[5],c=e[9],l=e[13],u=e[2],h=e[6],f=e[10],d=e[14],g=e[3],v=e[7],m=e[11],p=e[15],y=c*d-l*f,T=a*d-l*h,S=a*f-c*h,C=o*d-l*u,E=o*f-c*u,x=o*h-a*u;return t*(v*y-m*T+p*S)-n*(g*y-m*C+p*E)+s*(g*T-v*C+p*x)-r*(g*S-v*E+m*x)}determinantAffine(){let e=this.elements,t=e[0],n=e[4],s=e[8],r=e[1],o=e[5],a=e[9],c=e[2],l=e[6],u=e[10];return t*(o*u-a*l)-n*(r*u-a*c)+s*(r*l-o*c)}transpose(){let e=this.elements,t;return t=e[1],e[1]=e[4],e[4]=t,t=e[2],e[2]=e[8],e[8]=t,t=e[6],e[6]=e[9],e[9]=t,t=e[3],e[3]=e[12],e[12]=t,t=e[7],e[7]=e[13],e[13]=t,t=e[11],e[11]=e[14],e[14]=t,this}setPosition(e,t,n){let s=this.elements;return e.isVector3?(s[12]=e.x,s[13]=e.y,s[14]=e.z):(s[12]=e,s[13]=t,s[14]=n),this}invert(){let e=this.elements,t=e[0],n=e[1],s=e[2],r=e[3],o=e[4],a=e[5],c=e[6],l=e[7],u=e[8],h=e[9],f=e[10],d=e[11],g=e[12],v=e[13],m=e[14],p=e[15],y=t*a-n*o,T=t*c-s*o,S=t*l-r*o,C=n*c-s*a,E=n*l-r*a,x=s*l-r*c,A=u*v-h*g,F=u*m-f*g,L=u*p-d*g,I=h*m-f*v,k=h*p-d*v,V=f*p-d*m,N=y*V-T*k+S*I+C*L-E*F+x*A;if(N===0)return this.set(0,0,0,0,0,0,0,0,0,0,0,0,0,0,0,0);let W=1/N;return e[0]=(a*V-c*k+l*I)*W,e[1]=(s*k-n*V-r*I)*W,e[2]=(v*x-m*E+p*C)*W,e[3]=(f*E-h*x-d*C)*W,e[4]=(c*L-o*V-l*F)*W,e[5]=(t*V-s*L+r*F)*W,e[6]=(m*S-g*x-p*T)*W,e[7]=(u*x-f*S+d*T)*W,e[8]=(o*k-a*L+l*A)*W,e[9]=(n*L-t*k-r*A)*W,e[10]=(g*E-v*S+p*y)*W,e[11]=(h*S-u*E-d*y)*W,e[12]=(a*F-o*I-c*A)*W,e[13]=(t*I-n*F+s*A)*W,e[14]=(v*T-g*C-m*y)*W,e[15]=(u*C-h*T+f*y)*W,this}scale(e){let t=this.elements,n=e.x,s=e.y,r=e.z;return t[0]*=n,t[4]*=s,t[8]*=r,t[1]*=n,t[5]*=s,t[9]*=r,t[2]*=n,t[6]*=s,t[10]*=r,t[3]*=n,t[7]*=s,t[11]*=r,this}getMaxScaleOnAxis(){let e=this.elements,t=e[0]*e[0]+e[1]*e[1]+e[2]*e[2],n=e[4]*e[4]+e[5]*e[5]+e[6]*e[6],s=e[8]*e[8]+e[9]*e[9]+e[10]*e[10];return Math.sqrt(Math.max(t,n,s))}makeTranslation(e,t,n){return e.isVector3?this.set(1,0,0,e.x,0,1,0,e.y,0,0,1,e.z,0,0,0,1):this.set(1,0,0,e,0,1,0,t,0,0,1,n,0,0,0,1),this}makeRotationX(e){let t=Math.cos(e),n=Math.sin(e);return this.set(1,0,0,0,0,t,-n,0,0,n,t,0,0,0,0,1),this}makeRotationY(e){let t=Math.cos(e),n=Math.sin(e);return this.set(t,0,n,0,0,1,0,0,-n,0,t,0,0,0,0,1),this}makeRotationZ(e){let t=Math.cos(e),n=Math.sin(e);return this.set(t,-n,0,0,n,t,0,0,0,0,1,0,0,0,0,1),this}makeRotationAxis(e,t){let n=Math.cos(t),s=Math.sin(t),r=1-n,o=e.x,a=e.y,c=e.z,l=r*o,u=r*a;return this.set(l*o+n,l*a-s*c,l*c+s*a,0,l*a+s*c,u*a+n,u*c-s*o,0,l*c-s*a,u*c+s*o,r*c*c+n,0,0,0,0,1),this}makeScale(e,t,n){return this.set(e,0,0,0,0,t,0,0,0,0,n,0,0,0,0,1),this}makeShear(e,t,n,s,r,o){return this.set(1,n,r,0,e,1,o,0,t,s,1,0,0,0,0,1),this}compose(e,t,n){let s=this.elements,r=t._x,o=t._y,a=t._z,c=t._w,l=r+r,u=o+o,h=a+a,f=r*l,d=r*u,g=r*h,v=o*u,m=o*h,p=a*h,y=c*l,T=c*u,S=c*h,C=n.x,E=n.y,x=n.z;return s[0]=(1-(v+p))*C,s[1]=(d+S)*C,s[2]=(g-T)*C,s[3]=0,s[4]=(d-S)*E,s[5]=(1-(f+p))*E,s[6]=(m+y)*E,s[7]=0,s[8]=(g+T)*x,s[9]=(m-y)*x,s[10]=(1-(f+v))*x,s[11]=0,s[12]=e.x,s[13]=e.y,s[14]=e.z,s[15]=1,this}decompose(e,t,n){let s=this.elements;e.x=s[12],e.y=s[13],e.z=s[14];let r=this.determinantAffine();if(r===0)return n.set(1,1,1),t.identity(),this;let o=qr.set(s[0],s[1],s[2]).length(),a=qr.set(s[4],s[5],s[6]).length(),c=qr.set(s[8],s[9],s[10]).length();r<0&&(o=-o),Ci.copy(this);let l=1/o,u=1/a,h=1/c;return Ci.elements[0]*=l,Ci.elements[1]*=l,Ci.elements[2]*=l,Ci.elements[4]*=u,Ci.elements[5]*=u,Ci.elements[6]*=u,Ci.elements[8]*=h,Ci.elements[9]*=h,Ci.elements[10]*=h,t.setFromRotationMatrix(Ci),n.x=o,n.y=a,n.z=c,this}makePerspective(e,t,n,s,r,o,a=yi,c=!1){let l=this.elements,u=2*r/(t-e),h=2*r/(n-s),f=(t+e)/(t-e),d=(n+s)/(n-s),g,v;if(c)g=r/(o-r),v=o*r/(o-r);else if(a===yi)g=-(o+r)/(o-r),v=-2*o*r/(o-r);else if(a===co)g=-o/(o-r),v=-o*r/(o-r);else throw new Error("THREE.Matrix4.makePerspective(): Invalid coordinate system: "+a);return l[0]=u,l[4]=0,l[8]=f,l[12]=0,l[1]=0,l[5]=h,l[9]=d,l[13]=0,l[2]=0,l[6]=0,l[10]=g,l[14]=v,l[3]=0,l[7]=0,l[11]=-1,l[15]=0,this}makeOrthographic(e,t,n,s,r,o,a=yi,c=!1){let l=this.elements,u=2/(t-e),h=2/(n-s),f=-(t+e)/(t-e),d=-(n+s)/(n-s),g,v;if(c)g=1/(o-r),v=o/(o-r);else if(a===yi)g=-2/(o-r),v=-(o+r)/(o-r);else if(a===co)g=-1/(o-r),v=-r/(o-r);else throw new Error("THREE.Matrix4.makeOrthographic(): Invalid coordinate system: "+a);return l[0]=u,l[4]=0,l[8]=0,l[12]=f,l[1]=0,l[5]=h,l[9]=0,l[13]=d,l[2]=0,l[6]=0,l[10]=g,l[14]=v,l[3]=0,l[7]=0,l[11]=0,l[15]=1,this}equals(e){let t=this.elements,n=e.elements;for(let s=0;s<16;s++)if(t[s]!==n[s])return!1;return!0}fromArray(e,t=0){for(let n=0;n<16;n++)this.elements[n]=e[n+t];return this}toArray(e=[],t=0){let n=this.elements;return e[t]=n[0],e[t+1]=n[1],e[t+2]=n[2],e[t+3]=n[3],e[t+4]=n[4],e[t+5]=n[5],e[t+6]=n[6],e[t+7]=n[7],e[t+8]=n[8],e[t+9]=n[9],e[t+10]=n[10],e[t+11]=n[11],e[t+12]=n[12],e[t+13]=n[13],e[t+14]=n[14],e[t+15]=n[15],e}};Xc.prototype.isMatrix4=!0;var Dt=Xc,qr=new U,Ci=new Dt,tS=new U(0,0,0),nS=new U(1,1,1),Ns=new U,Rl=new U,ai=new U,zg=new Dt,Vg=new Zi,ys=class i{constructor(e=0,t=0,n=0,s=i.DEFAULT_ORDER){this.isEuler=!0,this._x=e,this._y=t,this._z=n,this._order=s}get x(){return this._x}set x(e){this._x=e,this._onChangeCallback()}get y(){return this._y}set y(e){this._y=e,this._onChangeCallback()}get z(){return this._z}set z(e){this._z=e,this._onChangeCallback()}get order(){return this._order}set order(e){this._order=e,this._onChangeCallback()}set(e,t,n,s=this._order){return this._x=e,this._y=t,this._z=n,this._order=s,this._onChangeCallback(),this}clone(){return new this.constructor(this._x,this._y,this._z,this._order)}copy(e){return this._x=e._x,this._y=e._y,this._z=e._z,this._order=e._order,this._onChangeCallback(),this}setFromRotationMatrix(e,t=this._order,n=!0){let s=e.elements,r=s[0],o=s[4],a=s[8],c=s[1],l=s[5],u=s[9],h=s[2],f=s[6],d=s[10];switch(t){case"XYZ":this._y=Math.asin(ot(a,-1,1)),Math.abs(a)<.9999999?(this._x=Math.atan2(-u,d),this._z=Math.atan2(-o,r)):(this._x=Math.atan2(f,l),this._z=0);break;case"YXZ":this._x=Math.asin(-ot(u,-1,1)),Math.abs(u)<.9999999?(this._y=Math.atan2(a,d),this._z=Math.atan2(c,l)):(this._y=Math.atan2(-h,r),this._z=0);break;case"ZXY":this._x=Math.asin(ot(f,-1,1)),Math.abs(f)<.9999999?(this._y=Math.atan2(-h,d),this._z=Math.atan2(-o,l)):(this._y=0,this._z=Math.atan2(c,r));break;case"ZYX":this._y=Math.asin(-ot(h,-1,1)),Math.abs(h)<.9999999?(this._x=Math.atan2(f,d),this._z=Math.atan2(c,r)):(this._x=0,this._z=Math.atan2(-o,l));break;case"YZX":this._z=Math.asin(ot(c,-1,1)),Math.abs(c)<.9999999?(this._x=Math.atan2(-u,l),this._y=Math.atan2(-h,r)):(this._x=0,this._y=Math.atan2(a,d));break;case"XZY":this._z=Math.asin(-ot(o,-1,1)),Math.abs(o)<.9999999?(this._x=Math.atan2(f,l),this._y=Math.atan2(a,r)):(this._x=Math.atan2(-u,d),this._y=0);break;default:Ye("Euler: .setFromRotationMatrix() encountered an unknown order: "+t)}return this._order=t,n===!0&&this._onChangeCallback(),this}setFromQuaternion(e,t,n){return zg.makeRotationFromQuaternion(e),this.setFromRotationMatrix(zg,t,n)}setFromVector3(e,t=this._order){return this.set(e.x,e.y,e.z,t)}reorder(e){return Vg.setFromEuler(this),this.setFromQuaternion(Vg,e)}equals(e){return e._x===this._x&&e._y===this._y&&e._z===this._z&&e._order===this._order}fromArray(e){return this._x=e[0],this._y=e[1],this._z=e[2],e[3]!==void 0&&(this._order=e[3]),this._onChangeCallback(),this}toArray(e=[],t=0){return e[t]=this._x,e[t+1]=this._y,e[t+2]=this._z,e[t+3]=this._order,e}_onChange(e){return this._onChangeCallback=e,this}_onChangeCallback(){}*[Symbol.iterator](){yield this._x,yield this._y,yield this._z,yield this._order}};ys.DEFAULT_ORDER="XYZ";var ua=class{constructor(){this.mask=1}set(e){this.mask=(1<<e|0)>>>0}enable(e){this.mask|=1<<e|0}enableAll(){this.mask=-1}toggle(e){this.mask^=1<<e|0}disable(e){this.mask&=~(1<<e|0)}disableAll(){this.mask=0}test(e){return(this.mask&e.mask)!==0}isEnabled(e){return(this.mask&(1<<e|0))!==0}},iS=0,Gg=new U,Yr=new Zi,us=new Dt,Pl=new U,Jo=new U,sS=new U,rS=new Zi,Hg=new U(1,0,0),Wg=new U(0,1,0),Xg=new U(0,0,1),qg={type:"added"},oS={type:"removed"},$r={type:"childadded",child:null},df={type:"childremoved",child:null},In=class i extends $i{constructor(){super(),this.isObject3D=!0,Object.defineProperty(this,"id",{value:iS++}),this.uuid=Ys(),this.name="",this.type="Object3D",this.parent=null,this.children=[],this.up=i.DEFAULT_UP.clone();let e=new U,t=new ys,n=new Zi,s=new U(1,1,1);function r(){n.setFromEuler(t,!1)}function o(){t.setFromQuaternion(n,void 0,!1)}t._onChange(r),n._onChange(o),Object.defineProperties(this,{position:{configurable:!0,enumerable:!0,value:e},rotation:{configurable:!0,enumerable:!0,value:t},quaternion:{configurable:!0,enumerable:!0,value:n},scale:{configurable:!0,enumerable:!0,value:s},modelViewMatrix:{value:new Dt},normalMatrix:{value:new tt}}),this.matrix=new Dt,this.matrixWorld=new Dt,this.matrixAutoUpdate=i.DEFAULT_MATRIX_AUTO_UPDATE,this.matrixWorldAutoUpdate=i.DEFAULT_MATRIX_WORLD_AUTO_UPDATE,this.matrixWorldNeedsUpdate=!1,this.layers=new ua,this.visible=!0,this.castShadow=!1,this.receiveShadow=!1,this.frustumCulled=!0,this.renderOrder=0,this.animations=[],this.customDepthMaterial=void 0,this.customDistanceMaterial=void 0,this.static=!1,this.userData={},this.pivot=null}onBeforeShadow(){}onAfterShadow(){}onBeforeRender(){}onAfterRender(){}applyMatrix4(e){this.matrixAutoUpdate&&this.updateMatrix(),this.matrix.premultiply(e),this.matrix.decompose(this.position,this.quaternion,this.scale),this.pivot!==null&&this.position.copy(this.pivot).applyMatrix4(this.matrix).sub(this.pivot)}applyQuaternion(e){return this.quaternion.premultiply(e),this}setRotationFromAxisAngle(e,t){this.quaternion.setFromAxisAngle(e,t)}setRotationFromEuler(e){this.quaternion.setFromEuler(e,!0)}setRotationFromMatrix(e){this.quaternion.setFromRotationMatrix(e)}setRotationFromQuaternion(e){this.quaternion.copy(e)}rotateOnAxis(e,t){return Yr.setFromAxisAngle(e,t),this.quaternion.multiply(Yr),this}rotateOnWorldAxis(e,t){return Yr.setFromAxisAngle(e,t),this.quaternion.premultiply(Yr),this}rotateX(e){return this.rotateOnAxis(Hg,e)}rotateY(e){return this.rotateOnAxis(Wg,e)}rotateZ(e){return this.rotateOnAxis(Xg,e)}translateOnAxis(e,t){return Gg.copy(e).applyQuaternion(this.quaternion),this.position.add(Gg.multiplyScalar(t)),this}translateX(e){return this.translateOnAxis(Hg,e)}translateY(e){return this.translateOnAxis(Wg,e)}translateZ(e){return this.translateOnAxis(Xg,e)}localToWorld(e){return this.updateWorldMatrix(!0,!1),e.applyMatrix4(this.matrixWorld)}worldToLocal(e){return this.updateWorldMatrix(!0,!1),e.applyMatrix4(us.copy(this.matrixWorld).invert())}lookAt(e,t,n){e.isVector3?Pl.copy(e):Pl.set(e,t,n);let s=this.parent;this.updateWorldMatrix(!0,!1),Jo.setFromMatrixPosition(this.matrixWorld),this.isCamera||this.isLight?us.lookAt(Jo,Pl,this.up):us.lookAt(Pl,Jo,this.up),this.quaternion.setFromRotationMatrix(us),s&&(us.extractRotation(s.matrixWorld),Yr.setFromRotationMatrix(us),this.quaternion.premultiply(Yr.invert()))}add(e){if(arguments.length>1){for(let t=0;t<arguments.length;t++)this.add(arguments[t]);return this}return e===this?(et("Object3D.add: object can't be added as a child of itself.",e),this):(e&&e.isObject3D?(e.removeFromParent(),e.parent=this,this.children.push(e),e.dispatchEvent(qg),$r.child=e,this.dispatchEvent($r),$r.child=null):et("Object3D.add: object not an instance of THREE.Object3D.",e),this)}remove(e){if(arguments.length>1){for(let n=0;n<arguments.length;n++)this.remove(arguments[n]);return this}let t=this.children.indexOf(e);return t!==-1&&(e.parent=null,this.children.splice(t,1),e.dispatchEvent(oS),df.child=e,this.dispatchEvent(df),df.child=null),this}removeFromParent(){let e=this.parent;return e!==null&&e.remove(this),this}clear(){return this.remove(...this.children)}attach(e){return this.updateWorldMatrix(!0,!1),us.copy(this.matrixWorld).invert(),e.parent!==null&&(e.parent.updateWorldMatrix(!0,!1),us.multiply(e.parent.matrixWorld)),e.applyMatrix4(us),e.removeFromParent(),e.parent=this,this.children.push(e),e.updateWorldMatrix(!1,!0),e.dispatchEvent(qg),$r.child=e,this.dispatchEvent($r),$r.child=null,this}getObjectById(e){return this.getObjectByProperty("id",e)}getObjectByName(e){return this.getObjectByProperty("name",e)}getObjectByProperty(e,t){if(this[e]===t)return this;for(let n=0,s=this.children.length;n<s;n++){let o=this.children[n].getObjectByProperty(e,t);if(o!==void 0)return o}}getObjectsByProperty(e,t,n=[]){this[e]===t&&n.push(this);let s=this.children;for(let r=0,o=s.length;r<o;r++)s[r].getObjectsByProperty(e,t,n);return n}getWorldPosition(e){return this.updateWorldMatrix(!0,!1),e.setFromMatrixPosition(this.matrixWorld)}getWorldQuaternion(e){return this.updateWorldMatrix(!0,!1),this.matrixWorld.decompose(Jo,e,sS),e}getWorldScale(e){return this.updateWorldMatrix(!0,!1),this.matrixWorld.decompose(Jo,rS,e),e}getWorldDirection(e){this.updateWorldMatrix(!0,!1);let t=this.matrixWorld.elements;return e.set(t[8],t[9],t[10]).normalize()}raycast(){}intersectsFrustum(){return!0}traverse(e){e(this);let t=this.children;for(let n=0,s=t.length;n<s;n++)t[n].traverse(e)}traverseVisible(e){if(this.visible===!1)return;e(this);let t=this.children;for(let n=0,s=t.length;n<s;n++)t[n].traverseVisible(e)}traverseAncestors(e){let t=this.parent;t!==null&&(e(t),t.traverseAncestors(e))}updateMatrix(){this.matrix.compose(this.position,this.quaternion,this.scale);let e=this.pivot;if(e!==null){let t=e.x,n=e.y,s=e.z,r=this.matrix.elements;r[12]+=t-r[0]*t-r[4]*n-r[8]*s,r[13]+=n-r[1]*t-r[5]*n-r[9]*s,r[14]+=s-r[2]*t-r[6]*n-r[10]*s}this.matrixWorldNeedsUpdate=!0}updateMatrixWorld(e){this.matrixAutoUpdate&&this.updateMatrix(),(this.matrixWorldNeedsUpdate||e)&&(this.matrixWorldAutoUpdate===!0&&(this.parent===null?this.matrixWorld.copy(this.matrix):this.matrixWorld.multiplyMatrices(this.parent.matrixWorld,this.matrix)),this.matrixWorldNeedsUpdate=!1,e=!0);let t=this.children;for(let n=0,s=t.length;n<s;n++)t[n].updateMatrixWorld(e)}updateWorldMatrix(e,t,n=!1){let s=this.parent;if(e===!0&&s!==null&&s.updateWorldMatrix(!0,!1),this.matrixAutoUpdate&&this.updateMatrix(),(this.matrixWorldNeedsUpdate||n)&&(this.matrixWorldAutoUpdate===!0&&(this.parent===null?this.matrixWorld.copy(this.matrix):this.matrixWorld.multiplyMatrices(this.parent.matrixWorld,this.matrix)),this.matrixWorldNeedsUpdate=!1,n=!0),t===!0){let r=this.children;for(let o=0,a=r.length;o<a;o++)r[o].updateWorldMatrix(!1,!0,n)}}toJSON(e){let t=e===void 0||typeof e=="string",n={};t&&(e={geometries:{},materials:{},textures:{},images:{},shapes:{},skeletons:{},animations:{},nodes:{}},n.metadata={version:4.7,type:"Object",generator:"Object3D.toJSON"});let s={};s.uuid=this.uuid,s.type=this.type,s.name=this.name,s.castShadow=this.castShadow,s.receiveShadow=this.receiveShadow,s.visible=this.visible,s.frustumCulled=this.frustumCulled,s.renderOrder=this.renderOrder,s.static=this.static,s.matrixAutoUpdate=this.matrixAutoUpdate,Object.keys(this.userData).length>0&&(s.userData=this.userData),s.layers=this.layers.mask,s.matrix=this.matrix.toArray(),s.up=this.up.toArray(),this.pivot!==null&&(s.pivot=this.pivot.toArray()),this.morphTargetDictionary!==void 0&&(s.morphTargetDictionary=Object.assign({},this.morphTargetDictionary)),this.morphTargetInfluences!==void 0&&(s.morphTargetInfluences=this.morphTargetInfluences.slice()),this.isInstancedMesh&&(s.type="InstancedMesh",s.count=this.count,s.instanceMatrix=this.instanceMatrix.toJSON(),this.instanceColor!==null&&(s.instanceColor=this.instanceColor.toJSON())),this.isBatchedMesh&&(s.type="BatchedMesh",s.perObjectFrustumCulled=this.perObjectFrustumCulled,s.sortObjects=this.sortObjects,s.drawRanges=this._drawRanges,s.reservedRanges=this._reservedRanges,s.geometryInfo=this._geometryInfo.map(a=>({...a,boundingBox:a.boundingBox?a.boundingBox.toJSON():void 0,boundingSphere:a.boundingSphere?a.boundingSphere.toJSON():void 0})),s.instanceInfo=this._instanceInfo.map(a=>({...a})),s.availableInstanceIds=this._availableInstanceIds.slice(),s.availableGeometryIds=this._availableGeometryIds.slice(),s.nextIndexStart=this._nextIndexStart,s.nextVertexStart=this._nextVertexStart,s.geometryCount=this._geometryCount,s.maxInstanceCount=this._maxInstanceCount,s.maxVertexCount=this._maxVertexCount,s.maxIndexCount=this._maxIndexCount,s.geometryInitialized=this._geometryInitialized,s.matricesTexture=this._matricesTexture.toJSON(e),s.indirectTexture=this._indirectTexture.toJSON(e),this._colorsTexture!==null&&(s.colorsTexture=this._colorsTexture.toJSON(e)),this.boundingSphere!==null&&(s.boundingSphere=this.boundingSphere.toJSON()),this.boundingBox!==null&&(s.boundingBox=this.boundingBox.toJSON()));function r(a,c){return a[c.uuid]===void 0&&(a[c.uuid]=c.toJSON(e)),c.uuid}if(this.isScene)this.background&&(this.background.isColor?s.background=this.background.toJSON():this.background.isTexture&&(s.background=this.background.toJSON(e).uuid)),this.environment&&this.environment.isTexture&&this.environment.isRenderTargetTexture!==!0&&(s.environment=this.environment.toJSON(e).uuid);else if(this.isMesh||this.isLine||this.isPoints){s.geometry=r(e.geometries,this.geometry);let a=this.geometry.parameters;if(a!==void 0&&a.shapes!==void 0){let c=a.shapes;if(Array.isArray(c))for(let l=0,u=c.length;l<u;l++){let h=c[l];r(e.shapes,h)}else r(e.shapes,c)}}if(this.isSkinnedMesh&&(s.bindMode=this.bindMode,s.bindMatrix=this.bindMatrix.toArray(),this.skeleton!==void 0&&(r(e.skeletons,this.skeleton),s.skeleton=this.skeleton.uuid)),this.material!==void 0)if(Array.isArray(this.material)){let a=[];for(let c=0,l=this.material.length;c<l;c++)a.push(r(e.materials,this.material[c]));s.material=a}else s.material=r(e.materials,this.material);if(this.children.length>0){s.children=[];for(let a=0;a<this.children.length;a++)s.children.push(this.children[a].toJSON(e).object)}if(this.animations.length>0){s.animations=[];for(let a=0;a<this.animations.length;a++){let c=this.animations[a];s.animations.push(r(e.animations,c))}}if(t){let a=o(e.geometries),c=o(e.materials),l=o(e.textures),u=o(e.images),h=o(e.shapes),f=o(e.skeletons),d=o(e.animations),g=o(e.nodes);a.length>0&&(n.geometries=a),c.length>0&&(n.materials=c),l.length>0&&(n.textures=l),u.length>0&&(n.images=u),h.length>0&&(n.shapes=h),f.length>0&&(n.skeletons=f),d.length>0&&(n.animations=d),g.length>0&&(n.nodes=g)}return n.object=s,n;function o(a){let c=[];for(let l in a){let u=a[l];delete u.metadata,c.push(u)}return c}}clone(e){return new this.constructor().copy(this,e)}copy(e,t=!0){if(this.name=e.name,this.up.copy(e.up),this.position.copy(e.position),this.rotation.order=e.rotation.order,this.quaternion.copy(e.quaternion),this.scale.copy(e.scale),this.pivot=e.pivot!==null?e.pivot.clone():null,this.matrix.copy(e.matrix),this.matrixWorld.copy(e.matrixWorld),this.matrixAutoUpdate=e.matrixAutoUpdate,this.matrixWorldAutoUpdate=e.matrixWorldAutoUpdate,this.matrixWorldNeedsUpdate=e.matrixWorldNeedsUpdate,this.layers.mask=e.layers.mask,this.visible=e.visible,this.castShadow=e.castShadow,this.receiveShadow=e.receiveShadow,this.frustumCulled=e.frustumCulled,this.renderOrder=e.renderOrder,this.static=e.static,this.animations=e.animations.slice(),this.userData=JSON.parse(JSON.stringify(e.userData)),t===!0)for(let n=0;n<e.children.length;n++){let s=e.children[n];this.add(s.clone())}return this}dispose(){this.dispatchEvent({type:"dispose"})}};In.DEFAULT_UP=new U(0,1,0);In.DEFAULT_MATRIX_AUTO_UPDATE=!0;In.DEFAULT_MATRIX_WORLD_AUTO_UPDATE=!0;var _n=class extends In{constructor(){super(),this.isGroup=!0,this.type="Group"}},aS={type:"move"},po=class{constructor(){this._targetRay=null,this._grip=null,this._hand=null}getHandSpace(){return this._hand===null&&(this._hand=new _n,this._hand.matrixAutoUpdate=!1,this._hand.visible=!1,this._hand.joints={},this._hand.inputState={pinching:!1}),this._hand}getTargetRaySpace(){return this._targetRay===null&&(this._targetRay=new _n,this._targetRay.matrixAutoUpdate=!1,this._targetRay.visible=!1,this._targetRay.hasLinearVelocity=!1,this._targetRay.linearVelocity=new U,this._targetRay.hasAngularVelocity=!1,this._targetRay.angularVelocity=new U),this._targetRay}getGripSpace(){return this._grip===null&&(this._grip=new _n,this._grip.matrixAutoUpdate=!1,this._grip.visible=!1,this._grip.hasLinearVelocity=!1,this._grip.linearVelocity=new U,this._grip.hasAngularVelocity=!1,this._grip.angularVelocity=new U,this._grip.eventsEnabled=!1),this._grip}dispatchEvent(e){return this._targetRay!==null&&this._targetRay.dispatchEvent(e),this._grip!==null&&this._grip.dispatchEvent(e),this._hand!==null&&this._hand.dispatchEvent(e),this}connect(e){if(e&&e.hand){let t=this._hand;if(t)for(let n of e.hand.values())this._getHandJoint(t,n)}return this.dispatchEvent({type:"connected",data:e}),this}disconnect(e){return this.dispatchEvent({type:"disconnected",data:e}),this._targetRay!==null&&(this._targetRay.visible=!1),this._grip!==null&&(this._grip.visible=!1),this._hand!==null&&(this._hand.visible=!1),this}update(e,t,n){let s=null,r=null,o=null,a=this._targetRay,c=this._grip,l=this._hand;if(e&&t.session.visibilityState!=="visible-blurred"){if(l&&e.hand){o=!0;for(let v of e.hand.values()){let m=t.getJointPose(v,n),p=this._getHandJoint(l,v);m!==null&&(p.matrix.fromArray(m.transform.matrix),p.matrix.decompose(p.position,p.quaternion,p.scale),p.matrixWorldNeedsUpdate=!0,p.jointRadius=m.radius),p.visible=m!==null}let u=l.joints["index-finger-tip"],h=l.joints["thumb-tip"],f=u.position.distanceTo(h.position),d=.02,g=.005;l.inputState.pinching&&f>d+g?(l.inputState.pinching=!1,this.dispatchEvent({type:"pinchend",handedness:e.handedness,target:this})):!l.inputState.pinching&&f<=d-g&&(l.inputState.pinching=!0,this.dispatchEvent({type:"pinchstart",handedness:e.handedness,target:this}))}else c!==null&&e.gripSpace&&(r=t.getPose(e.gripSpace,n),r!==null&&(c.matrix.fromArray(r.transform.matrix),c.matrix.decompose(c.position,c.quaternion,c.scale),c.matrixWorldNeedsUpdate=!0,r.linearVelocity?(c.hasLinearVelocity=!0,c.linearVelocity.copy(r.linearVelocity)):c.hasLinearVelocity=!1,r.angularVelocity?(c.hasAngularVelocity=!0,c.angularVelocity.copy(r.angularVelocity)):c.hasAngularVelocity=!1,c.eventsEnabled&&c.dispatchEvent({type:"gripUpdated",data:e,target:this})));a!==null&&(s=t.getPose(e.targetRaySpace,n),s===null&&r!==null&&(s=r),s!==null&&(a.matrix.fromArray(s.transform.matrix),a.matrix.decompose(a.position,a.quaternion,a.scale),a.matrixWorldNeedsUpdate=!0,s.linearVelocity?(a.hasLinearVelocity=!0,a.linearVelocity.copy(s.linearVelocity)):a.hasLinearVelocity=!1,s.angularVelocity?(a.hasAngularVelocity=!0,a.angularVelocity.copy(s.angularVelocity)):a.hasAngularVelocity=!1,this.dispatchEvent(aS)))}return a!==null&&(a.visible=s!==null),c!==null&&(c.visible=r!==null),l!==null&&(l.visible=o!==null),this}_getHandJoint(e,t){if(e.joints[t.jointName]===void 0){let n=new _n;n.matrixAutoUpdate=!1,n.visible=!1,e.joints[t.jointName]=n,e.add(n)}return e.joints[t.jointName]}},K0={aliceblue:15792383,antiquewhite:16444375,aqua:65535,aquamarine:8388564,azure:15794175,beige:16119260,bisque:16770244,black:0,blanchedalmond:16772045,blue:255,blueviolet:9055202,brown:10824234,burlywood:14596231,cadetblue:6266528,chartreuse:8388352,chocolate:13789470,coral:16744272,cornflowerblue:6591981,cornsilk:16775388,crimson:14423100,cyan:65535,darkblue:139,darkcyan:35723,darkgoldenrod:12092939,darkgray:11119017,darkgreen:25600,darkgrey:11119017,darkkhaki:12433259,darkmagenta:9109643,darkolivegreen:5597999,darkorange:16747520,darkorchid:10040012,darkred:9109504,darksalmon:15308410,darkseagreen:9419919,darkslateblue:4734347,darkslategray:3100495,darkslategrey:3100495,darkturquoise:52945,darkviolet:9699539,deeppink:16716947,deepskyblue:49151,dimgray:6908265,dimgrey:6908265,dodgerblue:2003199,firebrick:11674146,floralwhite:16775920,forestgreen:2263842,fuchsia:16711935,gainsboro:14474460,ghostwhite:16316671,gold:16766720,goldenrod:14329120,gray:8421504,green:32768,greenyellow:11403055,grey:8421504,honeydew:15794160,hotpink:16738740,indianred:13458524,indigo:4915330,ivory:16777200,khaki:15787660,lavender:15132410,lavenderblush:16773365,lawngreen:8190976,lemonchiffon:16775885,lightblue:11393254,lightcoral:15761536,lightcyan:14745599,lightgoldenrodyellow:16448210,lightgray:13882323,lightgreen:9498256,lightgrey:13882323,lightpink:16758465,lightsalmon:16752762,lightseagreen:2142890,lightskyblue:8900346,lightslategray:7833753,lightslategrey:7833753,lightsteelblue:11584734,lightyellow:16777184,lime:65280,limegreen:3329330,linen:16445670,magenta:16711935,maroon:8388608,mediumaquamarine:6737322,mediumblue:205,mediumorchid:12211667,mediumpurple:9662683,mediumseagreen:3978097,mediumslateblue:8087790,mediumspringgreen:64154,mediumturquoise:4772300,mediumvioletred:13047173,midnightblue:1644912,mintcream:16121850,mistyrose:16770273,moccasin:16770229,navajowhite:16768685,navy:128,oldlace:16643558,olive:8421376,olivedrab:7048739,orange:16753920,orangered:16729344,orchid:14315734,palegoldenrod:15657130,palegreen:10025880,paleturquoise:11529966,palevioletred:14381203,papayawhip:16773077,peachpuff:16767673,peru:13468991,pink:16761035,plum:14524637,powderblue:11591910,purple:8388736,rebeccapurple:6697881,red:16711680,rosybrown:12357519,royalblue:4286945,saddlebrown:9127187,salmon:16416882,sandybrown:16032864,seagreen:3050327,seashell:16774638,sienna:10506797,silver:12632256,skyblue:8900331,slateblue:6970061,slategray:7372944,slategrey:7372944,snow:16775930,springgreen:65407,steelblue:4620980,tan:13808780,teal:32896,thistle:14204888,tomato:16737095,turquoise:4251856,violet:15631086,wheat:16113331,white:16777215,whitesmoke:16119285,yellow:16776960,yellowgreen:10145074},Us={h:0,s:0,l:0},Il={h:0,s:0,l:0};function pf(i,e,t){return t<0&&(t+=1),t>1&&(t-=1),t<1/6?i+(e-i)*6*t:t<1/2?e:t<2/3?i+(e-i)*6*(2/3-t):i}var je=class{constructor(e,t,n){return this.isColor=!0,this.r=1,this.g=1,this.b=1,this.set(e,t,n)}set(e,t,n){if(t===void 0&&n===void 0){let s=e;s&&s.isColor?this.copy(s):typeof s=="number"?this.setHex(s):typeof s=="string"&&this.setStyle(s)}else this.setRGB(e,t,n);return this}setScalar(e){return this.r=e,this.g=e,this.b=e,this}setHex(e,t=ci){return e=Math.floor(e),this.r=(e>>16&255)/255,this.g=(e>>8&255)/255,this.b=(e&255)/255,xt.colorSpaceToWorking(this,t),this}setRGB(e,t,n,s=xt.workingColorSpace){return this.r=e,this.g=t,this.b=n,xt.colorSpaceToWorking(this,s),this}setHSL(e,t,n,s=xt.workingColorSpace){if(e=pd(e,1),t=ot(t,0,1),n=ot(n,0,1),t===0)this.r=this.g=this.b=n;else{let r=n<=.5?n*(1+t):n+t-n*t,o=2*n-r;this.r=pf(o,r,e+1/3),this.g=pf(o,r,e),this.b=pf(o,r,e-1/3)}return xt.colorSpaceToWorking(this,s),this}setStyle(e,t=ci){function n(r){r!==void 0&&parseFloat(r)<1&&Ye("Color: Alpha component of "+e+" will be ignored.")}let s;if(s=/^(\w+)\(([^\)]*)\)/.exec(e)){let r,o=s[1],a=s[2];switch(o){case"rgb":case"rgba":if(r=/^\s*(\d+)\s*,\s*(\d+)\s*,\s*(\d+)\s*(?:,\s*(\d+(?:\.\d+)?|\.\d+)\s*)?$/.exec(a))return n(r[4]),this.setRGB(Math.min(255,parseInt(r[1],10))/255,Math.min(255,parseInt(r[2],10))/255,Math.min(255,parseInt(r[3],10))/255,t);if(r=/^\s*(\d+(?:\.\d+)?|\.\d+)\%\s*,\s*(\d+(?:\.\d+)?|\.\d+)\%\s*,\s*(\d+(?:\.\d+)?|\.\d+)\%\s*(?:,\s*(\d+(?:\.\d+)?|\.\d+)\s*)?$/.exec(a))return n(r[4]),this.setRGB(Math.min(100,parseFloat(r[1]))/100,Math.min(100,parseFloat(r[2]))/100,Math.min(100,parseFloat(r[3]))/100,t);break;case"hsl":case"hsla":if(r=/^\s*([+-]?(?:\d+(?:\.\d+)?|\.\d+))\s*,\s*(\d+(?:\.\d+)?|\.\d+)\%\s*,\s*(\d+(?:\.\d+)?|\.\d+)\%\s*(?:,\s*(\d+(?:\.\d+)?|\.\d+)\s*)?$/.exec(a))return n(r[4]),this.setHSL(parseFloat(r[1])/360,parseFloat(r[2])/100,parseFloat(r[3])/100,t);break;default:Ye("Color: Unknown color model "+e)}}else if(s=/^\#([A-Fa-f\d]+)$/.exec(e)){let r=s[1],o=r.length;if(o===3)return this.setRGB(parseInt(r.charAt(0),16)/15,parseInt(r.charAt(1),16)/15,parseInt(r.charAt(2),16)/15,t);if(o===6)return this.setHex(parseInt(r,16),t);Ye("Color: Invalid hex color "+e)}else if(e&&e.length>0)return this.setColorName(e,t);return this}setColorName(e,t=ci){let n=K0[e.toLowerCase()];return n!==void 0?this.setHex(n,t):Ye("Color: Unknown color "+e),this}clone(){return new this.constructor(this.r,this.g,this.b)}copy(e){return this.r=e.r,this.g=e.g,this.b=e.b,this}copySRGBToLinear(e){return this.r=_s(e.r),this.g=_s(e.g),this.b=_s(e.b),this}copyLinearToSRGB(e){return this.r=ao(e.r),this.g=ao(e.g),this.b=ao(e.b),this}convertSRGBToLinear(){return this.copySRGBToLinear(this),this}convertLinearToSRGB(){return this.copyLinearToSRGB(this),this}getHex(e=ci){return xt.workingToColorSpace(Bn.copy(this),e),Math.round(ot(Bn.r*255,0,255))*65536+Math.round(ot(Bn.g*255,0,255))*256+Math.round(ot(Bn.b*255,0,255))}getHexString(e=ci){return("000000"+this.getHex(e).toString(16)).slice(-6)}getHSL(e,t=xt.workingColorSpace){xt.workingToColorSpace(Bn.copy(this),t);let n=Bn.r,s=Bn.g,r=Bn.b,o=Math.max(n,s,r),a=Math.min(n,s,r),c,l,u=(a+o)/2;if(a===o)c=0,l=0;else{let h=o-a;switch(l=u<=.5?h/(o+a):h/(2-o-a),o){case n:c=(s-r)/h+(s<r?6:0);break;case s:c=(r-n)/h+2;break;case r:c=(n-s)/h+4;break}c/=6}return e.h=c,e.s=l,e.l=u,e}getRGB(e,t=xt.workingColorSpace){return xt.workingToColorSpace(Bn.copy(this),t),e.r=Bn.r,e.g=Bn.g,e.b=Bn.b,e}getStyle(e=ci){xt.workingToColorSpace(Bn.copy(this),e);let t=Bn.r,n=Bn.g,s=Bn.b;return e!==ci?`color(${e} ${t.toFixed(3)} ${n.toFixed(3)} ${s.toFixed(3)})`:`rgb(${Math.round(t*255)},${Math.round(n*255)},${Math.round(s*255)})`}offsetHSL(e,t,n){return this.getHSL(Us),this.setHSL(Us.h+e,Us.s+t,Us.l+n)}add(e){return this.r+=e.r,this.g+=e.g,this.b+=e.b,this}addColors(e,t){return this.r=e.r+t.r,this.g=e.g+t.g,this.b=e.b+t.b,this}addScalar(e){return this.r+=e,this.g+=e,this.b+=e,this}sub(e){return this.r=Math.max(0,this.r-e.r),this.g=Math.max(0,this.g-e.g),this.b=Math.max(0,this.b-e.b),this}multiply(e){return this.r*=e.r,this.g*=e.g,this.b*=e.b,this}multiplyScalar(e){return this.r*=e,this.g*=e,this.b*=e,this}lerp(e,t){return this.r+=(e.r-this.r)*t,this.g+=(e.g-this.g)*t,this.b+=(e.b-this.b)*t,this}lerpColors(e,t,n){return this.r=e.r+(t.r-e.r)*n,this.g=e.g+(t.g-e.g)*n,this.b=e.b+(t.b-e.b)*n,this}lerpHSL(e,t){this.getHSL(Us),e.getHSL(Il);let n=na(Us.h,Il.h,t),s=na(Us.s,Il.s,t),r=na(Us.l,Il.l,t);return this.setHSL(n,s,r),this}setFromVector3(e){return this.r=e.x,this.g=e.y,this.b=e.z,this}applyMatrix3(e){let t=this.r,n=this.g,s=this.b,r=e.elements;return this.r=r[0]*t+r[3]*n+r[6]*s,this.g=r[1]*t+r[4]*n+r[7]*s,this.b=r[2]*t+r[5]*n+r[8]*s,this}equals(e){return e.r===this.r&&e.g===this.g&&e.b===this.b}fromArray(e,t=0){return this.r=e[t],this.g=e[t+1],this.b=e[t+2],this}toArray(e=[],t=0){return e[t]=this.r,e[t+1]=this.g,e[t+2]=this.b,e}fromBufferAttribute(e,t){return this.r=e.getX(t),this.g=e.getY(t),this.b=e.getZ(t),this}toJSON(){return this.getHex()}*[Symbol.iterator](){yield this.r,yield this.g,yield this.b}},Bn=new je;je.NAMES=K0;var fa=class extends In{constructor(){super(),this.isScene=!0,this.type="Scene",this.background=null,this.environment=null,this.fog=null,this.backgroundBlurriness=0,this.backgroundIntensity=1,this.backgroundRotation=new ys,this.environmentIntensity=1,this.environmentRotation=new ys,this.overrideMaterial=null,typeof __THREE_DEVTOOLS__<"u"&&__THREE_DEVTOOLS__.dispatchEvent(new CustomEvent("observe",{detail:this}))}copy(e,t){return super.copy(e,t),this.background=e.background!==null?e.background.clone():null,this.environment=e.environment!==null?e.environment.clone():null,this.fog=e.fog!==null?e.fog.clone():null,this.backgroundBlurriness=e.backgroundBlurriness,this.backgroundIntensity=e.backgroundIntensity,this.backgroundRotation.copy(e.backgroundRotation),this.environmentIntensity=e.environmentIntensity,this.environmentRotation.copy(e.environmentRotation),this.overrideMaterial=e.overrideMaterial!==null?e.overrideMaterial.clone():null,this.matrixAutoUpdate=e.matrixAutoUpdate,this}toJSON(e){let t=super.toJSON(e);return this.fog!==null&&(t.object.fog=this.fog.toJSON()),t.object.backgroundBlurriness=this.backgroundBlurriness,t.object.backgroundIntensity=this.backgroundIntensity,t.object.backgroundRotation=this.backgroundRotation.toArray(),t.object.environmentIntensity=this.environmentIntensity,t.object.environmentRotation=this.environmentRotation.toArray(),t}},Ri=new U,fs=new U,mf=new U,ds=new U,Zr=new U,Jr=new U,Yg=new U,gf=new U,_f=new U,xf=new U,yf=new Et,vf=new Et,Sf=new Et,gs=class i{constructor(e=new U,t=new U,n=new U){this.a=e,this.b=t,this.c=n}static getNormal(e,t,n,s){s.subVectors(n,t),Ri.subVectors(e,t),s.cross(Ri);let r=s.lengthSq();return r>0?s.multiplyScalar(1/Math.sqrt(r)):s.set(0,0,0)}static getBarycoord(e,t,n,s,r){Ri.subVectors(s,t),fs.subVectors(n,t),mf.subVectors(e,t);let o=Ri.dot(Ri),a=Ri.dot(fs),c=Ri.dot(mf),l=fs.dot(fs),u=fs.dot(mf),h=o*l-a*a;if(h===0)return r.set(0,0,0),null;let f=1/h,d=(l*c-a*u)*f,g=(o*u-a*c)*f;return r.set(1-d-g,g,d)}static containsPoint(e,t,n,s){return this.getBarycoord(e,t,n,s,ds)===null?!1:ds.x>=0&&ds.y>=0&&ds.x+ds.y<=1}static getInterpolation(e,t,n,s,r,o,a,c){return this.getBarycoord(e,t,n,s,ds)===null?(c.x=0,c.y=0,"z"in c&&(c.z=0),"w"in c&&(c.w=0),null):(c.setScalar(0),c.addScaledVector(r,ds.x),c.addScaledVector(o,ds.y),c.addScaledVector(a,ds.z),c)}static getInterpolatedAttribute(e,t,n,s,r,o){return yf.setScalar(0),vf.setScalar(0),Sf.setScalar(0),yf.fromBufferAttribute(e,t),vf.fromBufferAttribute(e,n),Sf.fromBufferAttribute(e,s),o.setScalar(0),o.addScaledVector(yf,r.x),o.addScaledVector(vf,r.y),o.addScaledVector(Sf,r.z),o}static isFrontFacing(e,t,n,s){return Ri.subVectors(n,t),fs.subVectors(e,t),Ri.cross(fs).dot(s)<0}set(e,t,n){return this.a.copy(e),this.b.copy(t),this.c.copy(n),this}setFromPointsAndIndices(e,t,n,s){return this.a.copy(e[t]),this.b.copy(e[n]),this.c.copy(e[s]),this}setFromAttributeAndIndices(e,t,n,s){return this.a.fromBufferAttribute(e,t),this.b.fromBufferAttribute(e,n),this.c.fromBufferAttribute(e,s),this}clone(){return new this.constructor().copy(this)}copy(e){return this.a.copy(e.a),this.b.copy(e.b),this.c.copy(e.c),this}getArea(){return Ri.subVectors(this.c,this.b),fs.subVectors(this.a,this.b),Ri.cross(fs).length()*.5}getMidpoint(e){return e.addVectors(this.a,this.b).add(this.c).multiplyScalar(1/3)}getNormal(e){return i.getNormal(this.a,this.b,this.c,e)}getPlane(e){return e.setFromCoplanarPoints(this.a,this.b,this.c)}getBarycoord(e,t){return i.getBarycoord(e,this.a,this.b,this.c,t)}getInterpolation(e,t,n,s,r){return i.getInterpolation(e,this.a,this.b,this.c,t,n,s,r)}containsPoint(e){return i.containsPoint(e,this.a,this.b,this.c)}isFrontFacing(e){return i.isFrontFacing(this.a,this.b,this.c,e)}intersectsBox(e){return e.intersectsTriangle(this)}closestPointToPoint(e,t){let n=this.a,s=this.b,r=this.c,o,a;Zr.subVectors(s,n),Jr.subVectors(r,n),gf.subVectors(e,n);let c=Zr.dot(gf),l=Jr.dot(gf);if(c<=0&&l<=0)return t.copy(n);_f.subVectors(e,s);let u=Zr.dot(_f),h=Jr.dot(_f);if(u>=0&&h<=u)return t.copy(s);let f=c*h-u*l;if(f<=0&&c>=0&&u<=0&&c-u>0)return o=c/(c-u),t.copy(n).addScaledVector(Zr,o);xf.subVectors(e,r);let d=Zr.dot(xf),g=Jr.dot(xf);if(g>=0&&d<=g)return t.copy(r);let v=d*l-c*g;if(v<=0&&l>=0&&g<=0)return a=l/(l-g),t.copy(n).addScaledVector(Jr,a);let m=u*g-d*h;if(m<=0&&h-u>=0&&d-g>=0)return Yg.subVectors(r,s),a=(h-u)/(h-u+(d-g)),t.copy(s).addScaledVector(Yg,a);let p=1/(m+v+f);return o=v*p,a=f*p,t.copy(n).addScaledVector(Zr,o).addScaledVector(Jr,a)}equals(e){return e.a.equals(this.a)&&e.b.equals(this.b)&&e.c.equals(this.c)}},Ln=class{constructor(e=new U(1/0,1/0,1/0),t=new U(-1/0,-1/0,-1/0)){this.isBox3=!0,this.min=e,this.max=t}set(e,t){return this.min.copy(e),this.max.copy(t),this}setFromArray(e){this.makeEmpty();for(let t=0,n=e.length;t<n;t+=3)this.expandByPoint(Pi.fromArray(e,t));return this}setFromBufferAttribute(e){this.makeEmpty();for(let t=0,n=e.count;t<n;t++)this.expandByPoint(Pi.fromBufferAttribute(e,t));return this}setFromPoints(e){this.makeEmpty();for(let t=0,n=e.length;t<n;t++)this.expandByPoint(e[t]);return this}setFromCenterAndSize(e,t){let n=Pi.copy(t).multiplyScalar(.5);return this.min.copy(e).sub(n),this.max.copy(e).add(n),this}setFromObject(e,t=!1){return this.makeEmpty(),this.expandByObject(e,t)}clone(){return new this.constructor().copy(this)}copy(e){return this.min.copy(e.min),this.max.copy(e.max),this}makeEmpty(){return this.min.x=this.min.y=this.min.z=1/0,this.max.x=this.max.y=this.max.z=-1/0,this}isEmpty(){return this.max.x<this.min.x||this.max.y<this.min.y||this.max.z<this.min.z}getCenter(e){return this.isEmpty()?e.set(0,0,0):e.addVectors(this.min,this.max).multiplyScalar(.5)}getSize(e){return this.isEmpty()?e.set(0,0,0):e.subVectors(this.max,this.min)}expandByPoint(e){return this.min.min(e),this.max.max(e),this}expandByVector(e){return this.min.sub(e),this.max.add(e),this}expandByScalar(e){return this.min.addScalar(-e),this.max.addScalar(e),this}expandByObject(e,t=!1){e.updateWorldMatrix(!1,!1);let n=e.geometry;if(n!==void 0){let r=n.getAttribute("position");if(t===!0&&r!==void 0&&e.isInstancedMesh!==!0&&e.isBatchedMesh!==!0)for(let o=0,a=r.count;o<a;o++)e.isMesh===!0?e.getVertexPosition(o,Pi):Pi.fromBufferAttribute(r,o),Pi.applyMatrix4(e.matrixWorld),this.expandByPoint(Pi);else e.boundingBox!==void 0?(e.boundingBox===null&&e.computeBoundingBox(),Ll.copy(e.boundingBox)):(n.boundingBox===null&&n.computeBoundingBox(),Ll.copy(n.boundingBox)),Ll.applyMatrix4(e.matrixWorld),this.union(Ll)}let s=e.children;for(let r=0,o=s.length;r<o;r++)this.expandByObject(s[r],t);return this}containsPoint(e){return e.x>=this.min.x&&e.x<=this.max.x&&e.y>=this.min.y&&e.y<=this.max.y&&e.z>=this.min.z&&e.z<=this.max.z}containsBox(e){return this.min.x<=e.min.x&&e.max.x<=this.max.x&&this.min.y<=e.min.y&&e.max.y<=this.max.y&&this.min.z<=e.min.z&&e.max.z<=this.max.z}getParameter(e,t){return t.set((e.x-this.min.x)/(this.max.x-this.min.x),(e.y-this.min.y)/(this.max.y-this.min.y),(e.z-this.min.z)/(this.max.z-this.min.z))}intersectsBox(e){return e.max.x>=this.min.x&&e.min.x<=this.max.x&&e.max.y>=this.min.y&&e.min.y<=this.max.y&&e.max.z>=this.min.z&&e.min.z<=this.max.z}intersectsSphere(e){return this.clampPoint(e.center,Pi),Pi.distanceToSquared(e.center)<=e.radius*e.radius}intersectsPlane(e){let t,n;return e.normal.x>0?(t=e.normal.x*this.min.x,n=e.normal.x*this.max.x):(t=e.normal.x*this.max.x,n=e.normal.x*this.min.x),e.normal.y>0?(t+=e.normal.y*this.min.y,n+=e.normal.y*this.max.y):(t+=e.normal.y*this.max.y,n+=e.normal.y*this.min.y),e.normal.z>0?(t+=e.normal.z*this.min.z,n+=e.normal.z*this.max.z):(t+=e.normal.z*this.max.z,n+=e.normal.z*this.min.z),t<=-e.constant&&n>=-e.constant}intersectsTriangle(e){if(this.isEmpty())return!1;this.getCenter(Ko),Dl.subVectors(this.max,Ko),Kr.subVectors(e.a,Ko),jr.subVectors(e.b,Ko),Qr.subVectors(e.c,Ko),Fs.subVectors(jr,Kr),Os.subVectors(Qr,jr),or.subVectors(Kr,Qr);let t=[0,-Fs.z,Fs.y,0,-Os.z,Os.y,0,-or.z,or.y,Fs.z,0,-Fs.x,Os.z,0,-Os.x,or.z,0,-or.x,-Fs.y,Fs.x,0,-Os.y,Os.x,0,-or.y,or.x,0];return!bf(t,Kr,jr,Qr,Dl)||(t=[1,0,0,0,1,0,0,0,1],!bf(t,Kr,jr,Qr,Dl))?!1:(Nl.crossVectors(Fs,Os),t=[Nl.x,Nl.y,Nl.z],bf(t,Kr,jr,Qr,Dl))}clampPoint(e,t){return t.copy(e).clamp(this.min,this.max)}distanceToPoint(e){return this.clampPoint(e,Pi).distanceTo(e)}getBoundingSphere(e){return this.isEmpty()?e.makeEmpty():(this.getCenter(e.center),e.radius=this.getSize(Pi).length()*.5),e}intersect(e){return this.min.max(e.min),this.max.min(e.max),this.isEmpty()&&this.makeEmpty(),this}union(e){return this.min.min(e.min),this.max.max(e.max),this}applyMatrix4(e){return this.isEmpty()?this:(ps[0].set(this.min.x,this.min.y,this.min.z).applyMatrix4(e),ps[1].set(this.min.x,this.min.y,this.max.z).applyMatrix4(e),ps[2].set(this.min.x,this.max.y,this.min.z).applyMatrix4(e),ps[3].set(this.min.x,this.max.y,this.max.z).applyMatrix4(e),ps[4].set(this.max.x,this.min.y,this.min.z).applyMatrix4(e),ps[5].set(this.max.x,this.min.y,this.max.z).applyMatrix4(e),ps[6].set(this.max.x,this.max.y,this.min.z).applyMatrix4(e),ps[7].set(this.max.x,this.max.y,this.max.z).applyMatrix4(e),this.setFromPoints(ps),this)}translate(e){return this.min.add(e),this.max.add(e),this}equals(e){return e.min.equals(this.min)&&e.max.equals(this.max)}toJSON(){return{min:this.min.toArray(),max:this.max.toArray()}}fromJSON(e){return this.min.fromArray(e.min),this.max.fromArray(e.max),this}},ps=[new U,new U,new U,new U,new U,new U,new U,new U],Pi=new U,Ll=new Ln,Kr=new U,jr=new U,Qr=new U,Fs=new U,Os=new U,or=new U,Ko=new U,Dl=new U,Nl=new U,ar=new U;function bf(i,e,t,n,s){for(let r=0,o=i.length-3;r<=o;r+=3){ar.fromArray(i,r);let a=s.x*Math.abs(ar.x)+s.y*Math.abs(ar.y)+s.z*Math.abs(ar.z),c=e.dot(ar),l=t.dot(ar),u=n.dot(ar);if(Math.max(-Math.max(c,l,u),Math.min(c,l,u))>a)return!1}return!0}var fn=new U,Ul=new He,lS=0,ui=class extends $i{constructor(e,t,n=!1){if(super(),Array.isArray(e))throw new TypeError("THREE.BufferAttribute: array should be a Typed Array.");this.isBufferAttribute=!0,Object.defineProperty(this,"id",{value:lS++}),this.name="",this.array=e,this.itemSize=t,this.count=e!==void 0?e.length/t:0,this.normalized=n,this.usage=fd,this.updateRanges=[],this.gpuType=Ui,this.version=0,this._normalizationScale=e!==void 0?Dh(e):void 0}onUploadCallback(){}set needsUpdate(e){e===!0&&this.version++}setUsage(e){return this.usage=e,this}addUpdateRange(e,t){this.updateRanges.push({start:e,count:t})}clearUpdateRanges(){this.updateRanges.length=0}copy(e){return this.name=e.name,this.array=new e.array.constructor(e.array),this.itemSize=e.itemSize,this.count=e.count,this.normalized=e.normalized,this.usage=e.usage,this.gpuType=e.gpuType,this._normalizationScale=e._normalizationScale,this}copyAt(e,t,n){e*=this.itemSize,n*=t.itemSize;for(let s=0,r=this.itemSize;s<r;s++)this.array[e+s]=t.array[n+s];return this}copyArray(e){return this.array.set(e),this}applyMatrix3(e){if(this.itemSize===2)for(let t=0,n=this.count;t<n;t++)Ul.fromBufferAttribute(this,t),Ul.applyMatrix3(e),this.setXY(t,Ul.x,Ul.y);else if(this.itemSize===3)for(let t=0,n=this.count;t<n;t++)fn.fromBufferAttribute(this,t),fn.applyMatrix3(e),this.setXYZ(t,fn.x,fn.y,fn.z);return this}applyMatrix4(e){for(let t=0,n=this.count;t<n;t++)fn.fromBufferAttribute(this,t),fn.applyMatrix4(e),this.setXYZ(t,fn.x,fn.y,fn.z);return this}applyNormalMatrix(e){for(let t=0,n=this.count;t<n;t++)fn.fromBufferAttribute(this,t),fn.applyNormalMatrix(e),this.setXYZ(t,fn.x,fn.y,fn.z);return this}transformDirection(e){for(let t=0,n=this.count;t<n;t++)fn.fromBufferAttribute(this,t),fn.transformDirection(e),this.setXYZ(t,fn.x,fn.y,fn.z);return this}set(e,t=0){return this.array.set(e,t),this}getComponent(e,t){let n=this.array[e*this.itemSize+t];return this.normalized&&(n=this._denormalize(n)),n}setComponent(e,t,n){return this.normalized&&(n=this._normalize(n)),this.array[e*this.itemSize+t]=n,this}getX(e){let t=this.array[e*this.itemSize];return this.normalized&&(t=this._denormalize(t)),t}setX(e,t){return this.normalized&&(t=this._normalize(t)),this.array[e*this.itemSize]=t,this}getY(e){let t=this.array[e*this.itemSize+1];return this.normalized&&(t=this._denormalize(t)),t}setY(e,t){return this.normalized&&(t=this._normalize(t)),this.array[e*this.itemSize+1]=t,this}getZ(e){let t=this.array[e*this.itemSize+2];return this.normalized&&(t=this._denormalize(t)),t}setZ(e,t){return this.normalized&&(t=this._normalize(t)),this.array[e*this.itemSize+2]=t,this}getW(e){let t=this.array[e*this.itemSize+3];return this.normalized&&(t=this._denormalize(t)),t}setW(e,t){return this.normalized&&(t=this._normalize(t)),this.array[e*this.itemSize+3]=t,this}setXY(e,t,n){return e*=this.itemSize,this.normalized&&(t=this._normalize(t),n=this._normalize(n)),this.array[e+0]=t,this.array[e+1]=n,this}setXYZ(e,t,n,s){return e*=this.itemSize,this.normalized&&(t=this._normalize(t),n=this._normalize(n),s=this._normalize(s)),this.array[e+0]=t,this.array[e+1]=n,this.array[e+2]=s,this}setXYZW(e,t,n,s,r){return e*=this.itemSize,this.normalized&&(t=this._normalize(t),n=this._normalize(n),s=this._normalize(s),r=this._normalize(r)),this.array[e+0]=t,this.array[e+1]=n,this.array[e+2]=s,this.array[e+3]=r,this}onUpload(e){return this.onUploadCallback=e,this}clone(){return new this.constructor(this.array,this.itemSize).copy(this)}toJSON(){let e={itemSize:this.itemSize,type:this.array.constructor.name,array:Array.from(this.array),normalized:this.normalized};return e.name=this.name,e.usage=this.usage,e.gpuType=this.gpuType,e}dispose(){this.dispatchEvent({type:"dispose"})}_denormalize(e){let t=this._normalizationScale;return t!==void 0?Math.max(e/t,-1):gd(e,this.array)}_normalize(e){let t=this._normalizationScale;return t!==void 0?Math.round(e*t):_d(e,this.array)}};var da=class extends ui{constructor(e,t,n){super(new Uint16Array(e),t,n)}};var pa=class extends ui{constructor(e,t,n){super(new Uint32Array(e),t,n)}};var mt=class extends ui{constructor(e,t,n){super(new Float32Array(e),t,n)}},cS=new Ln,jo=new U,Mf=new U,Ii=class{constructor(e=new U,t=-1){this.isSphere=!0,this.center=e,this.radius=t}set(e,t){return this.center.copy(e),this.radius=t,this}setFromPoints(e,t){let n=this.center;t!==void 0?n.copy(t):cS.setFromPoints(e).getCenter(n);let s=0;for(let r=0,o=e.length;r<o;r++)s=Math.max(s,n.distanceToSquared(e[r]));return this.radius=Math.sqrt(s),this}copy(e){return this.center.copy(e.center),this.radius=e.radius,this}isEmpty(){return this.radius<0}makeEmpty(){return this.center.set(0,0,0),this.radius=-1,this}containsPoint(e){return e.distanceToSquared(this.center)<=this.radius*this.radius}distanceToPoint(e){return e.distanceTo(this.center)-this.radius}intersectsSphere(e){let t=this.radius+e.radius;return e.center.distanceToSquared(this.center)<=t*t}intersectsBox(e){return e.intersectsSphere(this)}intersectsPlane(e){return Math.abs(e.distanceToPoint(this.center))<=this.radius}clampPoint(e,t){let n=this.center.distanceToSquared(e);return t.copy(e),n>this.radius*this.radius&&(t.sub(this.center).normalize(),t.multiplyScalar(this.radius).add(this.center)),t}getBoundingBox(e){return this.isEmpty()?(e.makeEmpty(),e):(e.set(this.center,this.center),e.expandByScalar(this.radius),e)}applyMatrix4(e){return this.center.applyMatrix4(e),this.radius=this.radius*e.getMaxScaleOnAxis(),this}translate(e){return this.center.add(e),this}expandByPoint(e){if(this.isEmpty())return this.center.copy(e),this.radius=0,this;jo.subVectors(e,this.center);let t=jo.lengthSq();if(t>this.radius*this.radius){let n=Math.sqrt(t),s=(n-this.radius)*.5;this.center.addScaledVector(jo,s/n),this.radius+=s}return this}union(e){return e.isEmpty()?this:this.isEmpty()?(this.copy(e),this):(this.center.equals(e.center)===!0?this.radius=Math.max(this.radius,e.radius):(Mf.subVectors(e.center,this.center).setLength(e.radius),this.expandByPoint(jo.copy(e.center).add(Mf)),this.expandByPoint(jo.copy(e.center).sub(Mf))),this)}equals(e){return e.center.equals(this.center)&&e.radius===this.radius}clone(){return new this.constructor().copy(this)}toJSON(){return{radius:this.radius,center:this.center.toArray()}}fromJSON(e){return this.radius=e.radius,this.center.fromArray(e.center),this}},hS=0,xi=new Dt,wf=new In,eo=new U,li=new Ln,Qo=new Ln,En=new U,Qt=class i extends $i{constructor(){super(),this.isBufferGeometry=!0,Object.defineProperty(this,"id",{value:hS++}),this.uuid=Ys(),this.name="",this.type="BufferGeometry",this.index=null,this.indirect=null,this.indirectOffset=0,this.attributes={},this.morphAttributes={},this.morphTargetsRelative=!1,this.groups=[],this.boundingBox=null,this.boundingSphere=null,this.drawRange={start:0,count:1/0},this.userData={},this._transformed=!1}getIndex(){return this.index}setIndex(e){return Array.isArray(e)?this.index=new(Uv(e)?pa:da)(e,1):this.index=e,this}setIndirect(e,t=0){return this.indirect=e,this.indirectOffset=t,this}getIndirect(){return this.indirect}getAttribute(e){return this.attributes[e]}setAttribute(e,t){return this.attributes[e]=t,this}deleteAttribute(e){return delete this.attributes[e],this}hasAttribute(e){return this.attributes[e]!==void 0}addGroup(e,t,n=0){this.groups.push({start:e,count:t,materialIndex:n})}clearGroups(){this.groups=[]}setDrawRange(e,t){this.drawRange.start=e,this.drawRange.count=t}applyMatrix4(e){let t=this.attributes.position;t!==void 0&&(t.applyMatrix4(e),t.needsUpdate=!0);let n=this.attributes.normal;if(n!==void 0){let r=new tt().getNormalMatrix(e);n.applyNormalMatrix(r),n.needsUpdate=!0}let s=this.attributes.tangent;return s!==void 0&&(s.transformDirection(e),s.needsUpdate=!0),this.boundingBox!==null&&this.computeBoundingBox(),this.boundingSphere!==null&&this.computeBoundingSphere(),this._transformed=!0,this}applyQuaternion(e){return xi.makeRotationFromQuaternion(e),this.applyMatrix4(xi),this}rotateX(e){return xi.makeRotationX(e),this.applyMatrix4(xi),this}rotateY(e){return xi.makeRotationY(e),this.applyMatrix4(xi),this}rotateZ(e){return xi.makeRotationZ(e),this.applyMatrix4(xi),this}translate(e,t,n){return xi.makeTranslation(e,t,n),this.applyMatrix4(xi),this}scale(e,t,n){return xi.makeScale(e,t,n),this.applyMatrix4(xi),this}lookAt(e){return wf.lookAt(e),wf.updateMatrix(),this.applyMatrix4(wf.matrix),this}center(){return this.computeBoundingBox(),this.boundingBox.getCenter(eo).negate(),this.translate(eo.x,eo.y,eo.z),this}setFromPoints(e){let t=this.getAttribute("position");if(t===void 0){let n=[];for(let s=0,r=e.length;s<r;s++){let o=e[s];n.push(o.x,o.y,o.z||0)}this.setAttribute("position",new mt(n,3))}else{let n=Math.min(e.length,t.count);for(let s=0;s<n;s++){let r=e[s];t.setXYZ(s,r.x,r.y,r.z||0)}e.length>t.count&&Ye("BufferGeometry: Buffer size too small for points data. Use .dispose() and create a new geometry."),t.needsUpdate=!0}return this}computeBoundingBox(){this.boundingBox===null&&(this.boundingBox=new Ln);let e=this.attributes.position,t=this.morphAttributes.position;if(e&&e.isGLBufferAttribute){et("BufferGeometry.computeBoundingBox(): GLBufferAttribute requires a manual bounding box.",this),this.boundingBox.set(new U(-1/0,-1/0,-1/0),new U(1/0,1/0,1/0));return}if(e!==void 0){if(this.boundingBox.setFromBufferAttribute(e),t)for(let n=0,s=t.length;n<s;n++){let r=t[n];li.setFromBufferAttribute(r),this.morphTargetsRelative?(En.addVectors(this.boundingBox.min,li.min),this.boundingBox.expandByPoint(En),En.addVectors(this.boundingBox.max,li.max),this.boundingBox.expandByPoint(En)):(this.boundingBox.expandByPoint(li.min),this.boundingBox.expandByPoint(li.max))}}else this.boundingBox.makeEmpty();(isNaN(this.boundingBox.min.x)||isNaN(this.boundingBox.min.y)||isNaN(this.boundingBox.min.z))&&et('BufferGeometry.computeBoundingBox(): Computed min/max have NaN values. The "position" attribute is likely to have NaN values.',this)}computeBoundingSphere(){this.boundingSphere===null&&(this.boundingSphere=new Ii);let e=this.attributes.position,t=this.morphAttributes.position;if(e&&e.isGLBufferAttribute){et("BufferGeometry.computeBoundingSphere(): GLBufferAttribute requires a manual bounding sphere.",this),this.boundingSphere.set(new U,1/0);return}if(e){let n=this.boundingSphere.center;if(li.setFromBufferAttribute(e),t)for(let r=0,o=t.length;r<o;r++){let a=t[r];Qo.setFromBufferAttribute(a),this.morphTargetsRelative?(En.addVectors(li.min,Qo.min),li.expandByPoint(En),En.addVectors(li.max,Qo.max),li.expandByPoint(En)):(li.expandByPoint(Qo.min),li.expandByPoint(Qo.max))}li.getCenter(n);let s=0;for(let r=0,o=e.count;r<o;r++)En.fromBufferAttribute(e,r),s=Math.max(s,n.distanceToSquared(En));if(t)for(let r=0,o=t.length;r<o;r++){let a=t[r],c=this.morphTargetsRelative;for(let l=0,u=a.count;l<u;l++)En.fromBufferAttribute(a,l),c&&(eo.fromBufferAttribute(e,l),En.add(eo)),s=Math.max(s,n.distanceToSquared(En))}this.boundingSphere.radius=Math.sqrt(s),isNaN(this.boundingSphere.radius)&&et('BufferGeometry.computeBoundingSphere(): Computed radius is NaN. The "position" attribute is likely to have NaN values.',this)}}computeTangents(){let e=this.index,t=this.attributes;if(e===null||t.position===void 0||t.normal===void 0||t.uv===void 0){et("BufferGeometry: .computeTangents() failed. Missing required attributes (index, position, normal or uv)");return}let n=t.position,s=t.normal,r=t.uv,o=this.getAttribute("tangent");(o===void 0||o.count!==n.count)&&(o=new ui(new Float32Array(4*n.count),4),this.setAttribute("tangent",o));let a=[],c=[],l=new Uint8Array(n.count);for(let F=0;F<n.count;F++)a[F]=new U,c[F]=new U;let u=new U,h=new U,f=new U,d=new He,g=new He,v=new He,m=new U,p=new U;function y(F,L,I){l[F]=l[L]=l[I]=1,u.fromBufferAttribute(n,F),h.fromBufferAttribute(n,L),f.fromBufferAttribute(n,I),d.fromBufferAttribute(r,F),g.fromBufferAttribute(r,L),v.fromBufferAttribute(r,I),h.sub(u),f.sub(u),g.sub(d),v.sub(d);let k=1/(g.x*v.y-v.x*g.y);isFinite(k)&&(m.copy(h).multiplyScalar(v.y).addScaledVector(f,-g.y).multiplyScalar(k),p.copy(f).multiplyScalar(g.x).addScaledVector(h,-v.x).multiplyScalar(k),a[F].add(m),a[L].add(m),a[I].add(m),c[F].add(p),c[L].add(p),c[I].add(p))}let T=this.groups;T.length===0&&(T=[{start:0,count:e.count}]);for(let F=0,L=T.length;F<L;++F){let I=T[F],k=I.start,V=I.count;for(let N=k,W=k+V;N<W;N+=3)y(e.getX(N+0),e.getX(N+1),e.getX(N+2))}let S=new U,C=new U,E=new U,x=new U;function A(F){E.fromBufferAttribute(s,F),x.copy(E);let L=a[F];S.copy(L),S.sub(E.multiplyScalar(E.dot(L))).normalize(),C.crossVectors(x,L);let k=C.dot(c[F])<0?-1:1;o.setXYZW(F,S.x,S.y,S.z,k)}for(let F=0,L=n.count;F<L;++F)l[F]&&A(F);this._transformed=!0}computeVertexNormals(){let e=this.index,t=this.getAttribute("position");if(t!==void 0){let n=this.getAttribute("normal");if(n===void 0||n.count!==t.count)n=new ui(new Float32Array(t.count*3),3),this.setAttribute("normal",n);else for(let f=0,d=n.count;f<d;f++)n.setXYZ(f,0,0,0);let s=new U,r=new U,o=new U,a=new U,c=new U,l=new U,u=new U,h=new U;if(e)for(let f=0,d=e.count;f<d;f+=3){let g=e.getX(f+0),v=e.getX(f+1),m=e.getX(f+2);s.fromBufferAttribute(t,g),r.fromBufferAttribute(t,v),o.fromBufferAttribute(t,m),u.subVectors(o,r),h.subVectors(s,r),u.cross(h),a.fromBufferAttribute(n,g),c.fromBufferAttribute(n,v),l.fromBufferAttribute(n,m),a.add(u),c.add(u),l.add(u),n.setXYZ(g,a.x,a.y,a.z),n.setXYZ(v,c.x,c.y,c.z),n.setXYZ(m,l.x,l.y,l.z)}else for(let f=0,d=t.count;f<d;f+=3)s.fromBufferAttribute(t,f+0),r.fromBufferAttribute(t,f+1),o.fromBufferAttribute(t,f+2),u.subVectors(o,r),h.subVectors(s,r),u.cross(h),n.setXYZ(f+0,u.x,u.y,u.z),n.setXYZ(f+1,u.x,u.y,u.z),n.setXYZ(f+2,u.x,u.y,u.z);this.normalizeNormals(),n.needsUpdate=!0}}normalizeNormals(){let e=this.attributes.normal;for(let t=0,n=e.count;t<n;t++)En.fromBufferAttribute(e,t),En.normalize(),e.setXYZ(t,En.x,En.y,En.z)}toNonIndexed(){function e(a,c){let l=a.array,u=a.itemSize,h=a.normalized,f=new l.constructor(c.length*u),d=0,g=0;for(let v=0,m=c.length;v<m;v++){a.isInterleavedBufferAttribute?d=c[v]*a.data.stride+a.offset:d=c[v]*u;for(let p=0;p<u;p++)f[g++]=l[d++]}return new ui(f,u,h)}if(this.index===null)return Ye("BufferGeometry.toNonIndexed(): BufferGeometry is already non-indexed."),this;let t=new i,n=this.index.array,s=this.attributes;for(let a in s){let c=s[a],l=e(c,n);t.setAttribute(a,l)}let r=this.morphAttributes;for(let a in r){let c=[],l=r[a];for(let u=0,h=l.length;u<h;u++){let f=l[u],d=e(f,n);c.push(d)}t.morphAttributes[a]=c}t.morphTargetsRelative=this.morphTargetsRelative;let o=this.groups;for(let a=0,c=o.length;a<c;a++){let l=o[a];t.addGroup(l.start,l.count,l.materialIndex)}return t}toJSON(){let e={metadata:{version:4.7,type:"BufferGeometry",generator:"BufferGeometry.toJSON"}};if(e.uuid=this.uuid,e.type=this.parameters!==void 0&&this._transformed===!0?"BufferGeometry":this.type,e.name=this.name,Object.keys(this.userData).length>0&&(e.userData=this.userData),this.parameters!==void 0&&this._transformed!==!0){let c=this.parameters;for(let l in c)c[l]!==void 0&&(e[l]=c[l]);return e}e.data={attributes:{}};let t=this.index;t!==null&&(e.data.index={type:t.array.constructor.name,array:Array.prototype.slice.call(t.array)});let n=this.attributes;for(let c in n){let l=n[c];e.data.attributes[c]=l.toJSON(e.data)}let s={},r=!1;for(let c in this.morphAttributes){let l=this.morphAttributes[c],u=[];for(let h=0,f=l.length;h<f;h++){let d=l[h];u.push(d.toJSON(e.data))}u.length>0&&(s[c]=u,r=!0)}r&&(e.data.morphAttributes=s,e.data.morphTargetsRelative=this.morphTargetsRelative);let o=this.groups;o.length>0&&(e.data.groups=JSON.parse(JSON.stringify(o)));let a=this.boundingSphere;return a!==null&&(e.data.boundingSphere=a.toJSON()),e}clone(){return new this.constructor().copy(this)}copy(e){this.index=null,this.attributes={},this.morphAttributes={},this.groups=[],this.boundingBox=null,this.boundingSphere=null;let t={};this.name=e.name;let n=e.index;n!==null&&this.setIndex(n.clone());let s=e.attributes;for(let l in s){let u=s[l];this.setAttribute(l,u.clone(t))}let r=e.morphAttributes;for(let l in r){let u=[],h=r[l];for(let f=0,d=h.length;f<d;f++)u.push(h[f].clone(t));this.morphAttributes[l]=u}this.morphTargetsRelative=e.morphTargetsRelative;let o=e.groups;for(let l=0,u=o.length;l<u;l++){let h=o[l];this.addGroup(h.start,h.count,h.materialIndex)}let a=e.boundingBox;a!==null&&(this.boundingBox=a.clone());let c=e.boundingSphere;return c!==null&&(this.boundingSphere=c.clone()),this.drawRange.start=e.drawRange.start,this.drawRange.count=e.drawRange.count,this.userData=e.userData,this._transformed=e._transformed,this}dispose(){this.dispatchEvent({type:"dispose"})}},gc=class{constructor(e,t){this.isInterleavedBuffer=!0,this.array=e,this.stride=t,this.count=e!==void 0?e.length/t:0,this.usage=fd,this.updateRanges=[],this.version=0,this.uuid=Ys()}onUploadCallback(){}set needsUpdate(e){e===!0&&this.version++}setUsage(e){return this.usage=e,this}addUpdateRange(e,t){this.updateRanges.push({start:e,count:t})}clearUpdateRanges(){this.updateRanges.length=0}copy(e){return this.array=new e.array.constructor(e.array),this.count=e.count,this.stride=e.stride,this.usage=e.usage,this}copyAt(e,t,n){e*=this.stride,n*=t.stride;for(let s=0,r=this.stride;s<r;s++)this.array[e+s]=t.array[n+s];return this}set(e,t=0){return this.array.set(e,t),this}clone(e){e.arrayBuffers===void 0&&(e.arrayBuffers={});let t=$g(this.array);e.arrayBuffers[t]===void 0&&(e.arrayBuffers[t]=this.array.slice(0).buffer);let n=new this.array.constructor(e.arrayBuffers[t]),s=new this.constructor(n,this.stride);return s.setUsage(this.usage),s}onUpload(e){return this.onUploadCallback=e,this}toJSON(e){e.arrayBuffers===void 0&&(e.arrayBuffers={});let t=$g(this.array);e.arrayBuffers[t]===void 0&&(e.arrayBuffers[t]=Array.from(new Uint32Array(this.array.slice(0).buffer)));let n={uuid:this.uuid,buffer:t,type:this.array.constructor.name,stride:this.stride};return n.usage=this.usage,n}};function $g(i){return i.buffer._uuid===void 0&&(i.buffer._uuid=Ys()),i.byteOffset===0&&i.byteLength===i.buffer.byteLength?i.buffer._uuid:i.buffer._uuid+":"+i.byteOffset+":"+i.byteLength}var qn=new U,Li=class i{constructor(e,t,n,s=!1){this.isInterleavedBufferAttribute=!0,this.name="",this.data=e,this.itemSize=t,this.offset=n,this.normalized=s,this._normalizationScale=e!==void 0?Dh(e.array):void 0}get count(){return this.data.count}get array(){return this.data.array}set needsUpdate(e){this.data.needsUpdate=e}applyMatrix4(e){for(let t=0,n=this.data.count;t<n;t++)qn.fromBufferAttribute(this,t),qn.applyMatrix4(e),this.setXYZ(t,qn.x,qn.y,qn.z);return this}applyNormalMatrix(e){for(let t=0,n=this.count;t<n;t++)qn.fromBufferAttribute(this,t),qn.applyNormalMatrix(e),this.setXYZ(t,qn.x,qn.y,qn.z);return this}transformDirection(e){for(let t=0,n=this.count;t<n;t++)qn.fromBufferAttribute(this,t),qn.transformDirection(e),this.setXYZ(t,qn.x,qn.y,qn.z);return this}getComponent(e,t){let n=this.array[e*this.data.stride+this.offset+t];return this.normalized&&(n=this._denormalize(n)),n}setComponent(e,t,n){return this.normalized&&(n=this._normalize(n)),this.data.array[e*this.data.stride+this.offset+t]=n,this}setX(e,t){return this.normalized&&(t=this._normalize(t)),this.data.array[e*this.data.stride+this.offset]=t,this}setY(e,t){return this.normalized&&(t=this._normalize(t)),this.data.array[e*this.data.stride+this.offset+1]=t,this}setZ(e,t){return this.normalized&&(t=this._normalize(t)),this.data.array[e*this.data.stride+this.offset+2]=t,this}setW(e,t){return this.normalized&&(t=this._normalize(t)),this.data.array[e*this.data.stride+this.offset+3]=t,this}getX(e){let t=this.data.array[e*this.data.stride+this.offset];return this.normalized&&(t=this._denormalize(t)),t}getY(e){let t=this.data.array[e*this.data.stride+this.offset+1];return this.normalized&&(t=this._denormalize(t)),t}getZ(e){let t=this.data.array[e*this.data.stride+this.offset+2];return this.normalized&&(t=this._denormalize(t)),t}getW(e){let t=this.data.array[e*this.data.stride+this.offset+3];return this.normalized&&(t=this._denormalize(t)),t}setXY(e,t,n){return e=e*this.data.stride+this.offset,this.normalized&&(t=this._normalize(t),n=this._normalize(n)),this.data.array[e+0]=t,this.data.array[e+1]=n,this}setXYZ(e,t,n,s){return e=e*this.data.stride+this.offset,this.normalized&&(t=this._normalize(t),n=this._normalize(n),s=this._normalize(s)),this.data.array[e+0]=t,this.data.array[e+1]=n,this.data.array[e+2]=s,this}setXYZW(e,t,n,s,r){return e=e*this.data.stride+this.offset,this.normalized&&(t=this._normalize(t),n=this._normalize(n),s=this._normalize(s),r=this._normalize(r)),this.data.array[e+0]=t,this.data.array[e+1]=n,this.data.array[e+2]=s,this.data.array[e+3]=r,this}clone(e){if(e===void 0){ca("InterleavedBufferAttribute.clone(): Cloning an interleaved buffer attribute will de-interleave buffer data.");let t=[];for(let n=0;n<this.count;n++){let s=n*this.data.stride+this.offset;for(let r=0;r<this.itemSize;r++)t.push(this.data.array[s+r])}return new ui(new this.array.constructor(t),this.itemSize,this.normalized)}else return e.interleavedBuffers===void 0&&(e.interleavedBuffers={}),e.interleavedBuffers[this.data.uuid]===void 0&&(e.interleavedBuffers[this.data.uuid]=this.data.clone(e)),new i(e.interleavedBuffers[this.data.uuid],this.itemSize,this.offset,this.normalized)}toJSON(e){if(e===void 0){ca("InterleavedBufferAttribute.toJSON(): Serializing an interleaved buffer attribute will de-interleave buffer data.");let t=[];for(let n=0;n<this.count;n++){let s=n*this.data.stride+this.offset;for(let r=0;r<this.itemSize;r++)t.push(this.data.array[s+r])}return{itemSize:this.itemSize,type:this.array.constructor.name,array:t,normalized:this.normalized}}else return e.interleavedBuffers===void 0&&(e.interleavedBuffers={}),e.interleavedBuffers[this.data.uuid]===void 0&&(e.interleavedBuffers[this.data.uuid]=this.data.toJSON(e)),{isInterleavedBufferAttribute:!0,itemSize:this.itemSize,data:this.data.uuid,offset:this.offset,normalized:this.normalized}}_denormalize(e){let t=this._normalizationScale;return t!==void 0?Math.max(e/t,-1):gd(e,this.data.array)}_normalize(e){let t=this._normalizationScale;return t!==void 0?Math.round(e*t):_d(e,this.data.array)}},Af=new U,uS=new U,fS=new tt,hi=class{constructor(e=new U(1,0,0),t=0){this.isPlane=!0,this.normal=e,this.constant=t}set(e,t){return this.normal.copy(e),this.constant=t,this}setComponents(e,t,n,s){return this.normal.set(e,t,n),this.constant=s,this}setFromNormalAndCoplanarPoint(e,t){return this.normal.copy(e),this.constant=-t.dot(this.normal),this}setFromCoplanarPoints(e,t,n){let s=Af.subVectors(n,t).cross(uS.subVectors(e,t)).normalize();return this.setFromNormalAndCoplanarPoint(s,e),this}copy(e){return this.normal.copy(e.normal),this.constant=e.constant,this}normalize(){let e=1/this.normal.length();return this.normal.multiplyScalar(e),this.constant*=e,this}negate(){return this.constant*=-1,this.normal.negate(),this}distanceToPoint(e){return this.normal.dot(e)+this.constant}distanceToSphere(e){return this.distanceToPoint(e.center)-e.radius}projectPoint(e,t){return t.copy(e).addScaledVector(this.normal,-this.distanceToPoint(e))}intersectLine(e,t,n=!0){let s=e.delta(Af),r=this.normal.dot(s);if(r===0)return this.distanceToPoint(e.start)===0?t.copy(e.start):null;let o=-(e.start.dot(this.normal)+this.constant)/r;return n===!0&&(o<0||o>1)?null:t.copy(e.start).addScaledVector(s,o)}intersectsLine(e){let t=this.distanceToPoint(e.start),n=this.distanceToPoint(e.end);return t<0&&n>0||n<0&&t>0}intersectsBox(e){return e.intersectsPlane(this)}intersectsSphere(e){return e.intersectsPlane(this)}coplanarPoint(e){return e.copy(this.normal).multiplyScalar(-this.constant)}applyMatrix4(e,t){let n=t||fS.getNormalMatrix(e),s=this.coplanarPoint(Af).applyMatrix4(e),r=this.normal.applyMatrix3(n).normalize();return this.constant=-s.dot(r),this}translate(e){return this.constant-=e.dot(this.normal),this}equals(e){return e.normal.equals(this.normal)&&e.constant===this.constant}clone(){return new this.constructor().copy(this)}toJSON(){return{normal:this.normal.toArray(),constant:this.constant}}fromJSON(e){return this.normal.fromArray(e.normal),this.constant=e.constant,this}},dS=0,vs=class extends $i{constructor(){super(),this.isMaterial=!0,Object.defineProperty(this,"id",{value:dS++}),this.uuid=Ys(),this.name="",this.type="Material",this.blending=vo,this.side=Xs,this.vertexColors=!1,this.opacity=1,this.transparent=!1,this.alphaHash=!1,this.blendSrc=qf,this.blendDst=Yf,this.blendEquation=fr,this.blendSrcAlpha=null,this.blendDstAlpha=null,this.blendEquationAlpha=null,this.blendColor=new je(0,0,0),this.blendAlpha=0,this.depthFunc=lo,this.depthTest=!0,this.depthWrite=!0,this.stencilWriteMask=255,this.stencilFunc=V0,this.stencilRef=0,this.stencilFuncMask=255,this.stencilFail=nc,this.stencilZFail=nc,this.stencilZPass=nc,this.stencilWrite=!1,this.clippingPlanes=null,this.clipIntersection=!1,this.clipShadows=!1,this.shadowSide=null,this.colorWrite=!0,this.precision=null,this.polygonOffset=!1,this.polygonOffsetFactor=0,this.polygonOffsetUnits=0,this.dithering=!1,this.alphaToCoverage=!1,this.premultipliedAlpha=!1,this.forceSinglePass=!1,this.allowOverride=!0,this.visible=!0,this.toneMapped=!0,this.userData={},this.version=0,this._alphaTest=0}get alphaTest(){return this._alphaTest}set alphaTest(e){this._alphaTest>0!=e>0&&this.version++,this._alphaTest=e}onBeforeRender(){}onBeforeCompile(){}customProgramCacheKey(){return this.onBeforeCompile.toString()}setValues(e){if(e!==void 0)for(let t in e){let n=e[t];if(n===void 0){Ye(`Material: parameter '${t}' has value of undefined.`);continue}let s=this[t];if(s===void 0){Ye(`Material: '${t}' is not a property of THREE.${this.type}.`);continue}s&&s.isColor?s.set(n):s&&s.isVector2&&n&&n.isVector2||s&&s.isEuler&&n&&n.isEuler||s&&s.isVector3&&n&&n.isVector3?s.copy(n):this[t]=n}}toJSON(e){let t=e===void 0||typeof e=="string";t&&(e={textures:{},images:{}});let n={metadata:{version:4.7,type:"Material",generator:"Material.toJSON"}};n.uuid=this.uuid,n.type=this.type,n.blending=this.blending,n.side=this.side,n.shadowSide=this.shadowSide,n.vertexColors=this.vertexColors,n.opacity=this.opacity,n.transparent=this.transparent,n.blendSrc=this.blendSrc,n.blendDst=this.blendDst,n.blendEquation=this.blendEquation,n.blendSrcAlpha=this.blendSrcAlpha,n.blendDstAlpha=this.blendDstAlpha,n.blendEquationAlpha=this.blendEquationAlpha,n.blendColor=this.blendColor.getHex(),n.blendAlpha=this.blendAlpha,n.depthFunc=this.depthFunc,n.depthTest=this.depthTest,n.depthWrite=this.depthWrite,n.colorWrite=this.colorWrite,n.clipIntersection=this.clipIntersection,n.clipShadows=this.clipShadows,n.stencilWriteMask=this.stencilWriteMask,n.stencilFunc=this.stencilFunc,n.stencilRef=this.stencilRef,n.stencilFuncMask=this.stencilFuncMask,n.stencilFail=this.stencilFail,n.stencilZFail=this.stencilZFail,n.stencilZPass=this.stencilZPass,n.stencilWrite=this.stencilWrite,n.polygonOffset=this.polygonOffset,n.polygonOffsetFactor=this.polygonOffsetFactor,n.polygonOffsetUnits=this.polygonOffsetUnits,n.dithering=this.dithering,n.alphaTest=this.alphaTest,n.alphaHash=this.alphaHash,n.alphaToCoverage=this.alphaToCoverage,n.premultipliedAlpha=this.premultipliedAlpha,n.forceSinglePass=this.forceSinglePass,n.allowOverride=this.allowOverride,n.visible=this.visible,n.toneMapped=this.toneMapped,n.name=this.name,this.color&&this.color.isColor&&(n.color=this.color.getHex()),this.roughness!==void 0&&(n.roughness=this.roughness),this.metalness!==void 0&&(n.metalness=this.metalness),this.sheen!==void 0&&(n.sheen=this.sheen),this.sheenColor&&this.sheenColor.isColor&&(n.sheenColor=this.sheenColor.getHex()),this.sheenRoughness!==void 0&&(n.sheenRoughness=this.sheenRoughness),this.emissive&&this.emissive.isColor&&(n.emissive=this.emissive.getHex()),this.emissiveIntensity!==void 0&&(n.emissiveIntensity=this.emissiveIntensity),this.specular&&this.specular.isColor&&(n.specular=this.specular.getHex()),this.specularIntensity!==void 0&&(n.specularIntensity=this.specularIntensity),this.specularColor&&this.specularColor.isColor&&(n.specularColor=this.specularColor.getHex()),this.shininess!==void 0&&(n.shininess=this.shininess),this.clearcoat!==void 0&&(n.clearcoat=this.clearcoat),this.clearcoatRoughness!==void 0&&(n.clearcoatRoughness=this.clearcoatRoughness),this.diffuseRoughness!==void 0&&(n.diffuseRoughness=this.diffuseRoughness),this.diffuseRoughnessMap&&this.diffuseRoughnessMap.isTexture&&(n.diffuseRoughnessMap=this.diffuseRoughnessMap.toJSON(e).uuid),this.clearcoatMap&&this.clearcoatMap.isTexture&&(n.clearcoatMap=this.clearcoatMap.toJSON(e).uuid),this.clearcoatRoughnessMap&&this.clearcoatRoughnessMap.isTexture&&(n.clearcoatRoughnessMap=this.clearcoatRoughnessMap.toJSON(e).uuid),this.clearcoatNormalMap&&this.clearcoatNormalMap.isTexture&&(n.clearcoatNormalMap=this.clearcoatNormalMap.toJSON(e).uuid,n.clearcoatNormalScale=this.clearcoatNormalScale.toArray()),this.sheenColorMap&&this.sheenColorMap.isTexture&&(n.sheenColorMap=this.sheenColorMap.toJSON(e).uuid),this.sheenRoughnessMap&&this.sheenRoughnessMap.isTexture&&(n.sheenRoughnessMap=this.sheenRoughnessMap.toJSON(e).uuid),this.dispersion!==void 0&&(n.dispersion=this.dispersion),this.retroreflectivity!==void 0&&(n.retroreflectivity=this.retroreflectivity),this.iridescence!==void 0&&(n.iridescence=this.iridescence),this.iridescenceIOR!==void 0&&(n.iridescenceIOR=this.iridescenceIOR),this.iridescenceThicknessMinimum!==void 0&&(n.iridescenceThicknessMinimum=this.iridescenceThicknessMinimum),this.iridescenceThicknessMaximum!==void 0&&(n.iridescenceThicknessMaximum=this.iridescenceThicknessMaximum),this.iridescenceMap&&this.iridescenceMap.isTexture&&(n.iridescenceMap=this.iridescenceMap.toJSON(e).uuid),this.iridescenceThicknessMap&&this.iridescenceThicknessMap.isTexture&&(n.iridescenceThicknessMap=this.iridescenceThicknessMap.toJSON(e).uuid),this.anisotropy!==void 0&&(n.anisotropy=this.anisotropy),this.anisotropyRotation!==void 0&&(n.anisotropyRotation=this.anisotropyRotation),this.anisotropyMap&&this.anisotropyMap.isTexture&&(n.anisotropyMap=this.anisotropyMap.toJSON(e).uuid),this.map&&this.map.isTexture&&(n.map=this.map.toJSON(e).uuid),this.matcap&&this.matcap.isTexture&&(n.matcap=this.matcap.toJSON(e).uuid),this.alphaMap&&this.alphaMap.isTexture&&(n.alphaMap=this.alphaMap.toJSON(e).uuid),this.lightMap&&this.lightMap.isTexture&&(n.lightMap=this.lightMap.toJSON(e).uuid,n.lightMapIntensity=this.lightMapIntensity),this.aoMap&&this.aoMap.isTexture&&(n.aoMap=this.aoMap.toJSON(e).uuid,n.aoMapIntensity=this.aoMapIntensity),this.bumpMap&&this.bumpMap.isTexture&&(n.bumpMap=this.bumpMap.toJSON(e).uuid,n.bumpScale=this.bumpScale),this.normalMap&&this.normalMap.isTexture&&(n.normalMap=this.normalMap.toJSON(e).uuid,n.normalMapType=this.normalMapType,n.normalScale=this.normalScale.toArray()),this.displacementMap&&this.displacementMap.isTexture&&(n.displacementMap=this.displacementMap.toJSON(e).uuid,n.displacementScale=this.displacementScale,n.displacementBias=this.displacementBias),this.roughnessMap&&this.roughnessMap.isTexture&&(n.roughnessMap=this.roughnessMap.toJSON(e).uuid),this.metalnessMap&&this.metalnessMap.isTexture&&(n.metalnessMap=this.metalnessMap.toJSON(e).uuid),this.emissiveMap&&this.emissiveMap.isTexture&&(n.emissiveMap=this.emissiveMap.toJSON(e).uuid),this.specularMap&&this.specularMap.isTexture&&(n.specularMap=this.specularMap.toJSON(e).uuid),this.specularIntensityMap&&this.specularIntensityMap.isTexture&&(n.specularIntensityMap=this.specularIntensityMap.toJSON(e).uuid),this.specularColorMap&&this.specularColorMap.isTexture&&(n.specularColorMap=this.specularColorMap.toJSON(e).uuid),this.envMap&&this.envMap.isTexture&&(n.envMap=this.envMap.toJSON(e).uuid,this.combine!==void 0&&(n.combine=this.combine)),this.envMapRotation!==void 0&&(n.envMapRotation=this.envMapRotation.toArray()),this.envMapIntensity!==void 0&&(n.envMapIntensity=this.envMapIntensity),this.reflectivity!==void 0&&(n.reflectivity=this.reflectivity),this.refractionRatio!==void 0&&(n.refractionRatio=this.refractionRatio),this.gradientMap&&this.gradientMap.isTexture&&(n.gradientMap=this.gradientMap.toJSON(e).uuid),this.transmission!==void 0&&(n.transmission=this.transmission),this.transmissionMap&&this.transmissionMap.isTexture&&(n.transmissionMap=this.transmissionMap.toJSON(e).uuid),this.thickness!==void 0&&(n.thickness=this.thickness),this.thicknessMap&&this.thicknessMap.isTexture&&(n.thicknessMap=this.thicknessMap.toJSON(e).uuid),this.attenuationDistance!==void 0&&(n.attenuationDistance=this.attenuationDistance),this.attenuationColor!==void 0&&(n.attenuationColor=this.attenuationColor.getHex()),this.size!==void 0&&(n.size=this.size),this.sizeAttenuation!==void 0&&(n.sizeAttenuation=this.sizeAttenuation),Array.isArray(this.clippingPlanes)&&this.clippingPlanes.length>0&&(n.clippingPlanes=this.clippingPlanes.map(r=>r.toJSON())),this.rotation!==void 0&&(n.rotation=this.rotation),this.depthPacking!==void 0&&(n.depthPacking=this.depthPacking),this.linewidth!==void 0&&(n.linewidth=this.linewidth),this.linecap!==void 0&&(n.linecap=this.linecap),this.linejoin!==void 0&&(n.linejoin=this.linejoin),this.dashSize!==void 0&&(n.dashSize=this.dashSize),this.gapSize!==void 0&&(n.gapSize=this.gapSize),this.scale!==void 0&&(n.scale=this.scale),this.wireframe!==void 0&&(n.wireframe=this.wireframe),this.wireframeLinewidth!==void 0&&(n.wireframeLinewidth=this.wireframeLinewidth),this.wireframeLinecap!==void 0&&(n.wireframeLinecap=this.wireframeLinecap),this.wireframeLinejoin!==void 0&&(n.wireframeLinejoin=this.wireframeLinejoin),this.flatShading!==void 0&&(n.flatShading=this.flatShading),this.fog!==void 0&&(n.fog=this.fog),Object.keys(this.userData).length>0&&(n.userData=this.userData);function s(r){let o=[];for(let a in r){let c=r[a];delete c.metadata,o.push(c)}return o}if(t){let r=s(e.textures),o=s(e.images);r.length>0&&(n.textures=r),o.length>0&&(n.images=o)}return n}fromJSON(e,t){if(e.uuid!==void 0&&(this.uuid=e.uuid),e.name!==void 0&&(this.name=e.name),e.color!==void 0&&this.color!==void 0&&this.color.setHex(e.color),e.roughness!==void 0&&(this.roughness=e.roughness),e.metalness!==void 0&&(this.metalness=e.metalness),e.sheen!==void 0&&(this.sheen=e.sheen),e.sheenColor!==void 0&&(this.sheenColor=new je().setHex(e.sheenColor)),e.sheenRoughness!==void 0&&(this.sheenRoughness=e.sheenRoughness),e.emissive!==void 0&&this.emissive!==void 0&&this.emissive.setHex(e.emissive),e.specular!==void 0&&this.specular!==void 0&&this.specular.setHex(e.specular),e.specularIntensity!==void 0&&(this.specularIntensity=e.specularIntensity),e.specularColor!==void 0&&this.specularColor!==void 0&&this.specularColor.setHex(e.specularColor),e.shininess!==void 0&&(this.shininess=e.shininess),e.clearcoat!==void 0&&(this.clearcoat=e.clearcoat),e.clearcoatRoughness!==void 0&&(this.clearcoatRoughness=e.clearcoatRoughness),e.diffuseRoughness!==void 0&&(this.diffuseRoughness=e.diffuseRoughness),e.dispersion!==void 0&&(this.dispersion=e.dispersion),e.retroreflectivity!==void 0&&(this.retroreflectivity=e.retroreflectivity),e.iridescence!==void 0&&(this.iridescence=e.iridescence),e.iridescenceIOR!==void 0&&(this.iridescenceIOR=e.iridescenceIOR),e.iridescenceThicknessMinimum!==void 0&&(this.iridescenceThicknessMinimum=e.iridescenceThicknessMinimum),e.iridescenceThicknessMaximum!==void 0&&(this.iridescenceThicknessMaximum=e.iridescenceThicknessMaximum),e.iridescenceThicknessRange!==void 0&&(this.iridescenceThicknessMinimum=e.iridescenceThicknessRange[0],this.iridescenceThicknessMaximum=e.iridescenceThicknessRange[1]),e.transmission!==void 0&&(this.transmission=e.transmission),e.thickness!==void 0&&(this.thickness=e.thickness),e.attenuationDistance!==void 0&&(this.attenuationDistance=e.attenuationDistance),e.attenuationColor!==void 0&&this.attenuationColor!==void 0&&this.attenuationColor.setHex(e.attenuationColor),e.anisotropy!==void 0&&(this.anisotropy=e.anisotropy),e.anisotropyRotation!==void 0&&(this.anisotropyRotation=e.anisotropyRotation),e.fog!==void 0&&(this.fog=e.fog),e.flatShading!==void 0&&(this.flatShading=e.flatShading),e.blending!==void 0&&(this.blending=e.blending),e.combine!==void 0&&(this.combine=e.combine),e.side!==void 0&&(this.side=e.side),e.shadowSide!==void 0&&(this.shadowSide=e.shadowSide),e.opacity!==void 0&&(this.opacity=e.opacity),e.transparent!==void 0&&(this.transparent=e.transparent),e.alphaTest!==void 0&&(this.alphaTest=e.alphaTest),e.alphaHash!==void 0&&(this.alphaHash=e.alphaHash),e.depthFunc!==void 0&&(this.depthFunc=e.depthFunc),e.depthTest!==void 0&&(this.depthTest=e.depthTest),e.depthWrite!==void 0&&(this.depthWrite=e.depthWrite),e.colorWrite!==void 0&&(this.colorWrite=e.colorWrite),e.clippingPlanes!==void 0&&(this.clippingPlanes=e.clippingPlanes.map(n=>new hi().fromJSON(n))),e.clipIntersection!==void 0&&(this.clipIntersection=e.clipIntersection),e.clipShadows!==void 0&&(this.clipShadows=e.clipShadows),e.depthPacking!==void 0&&(this.depthPacking=e.depthPacking),e.blendSrc!==void 0&&(this.blendSrc=e.blendSrc),e.blendDst!==void 0&&(this.blendDst=e.blendDst),e.blendEquation!==void 0&&(this.blendEquation=e.blendEquation),e.blendSrcAlpha!==void 0&&(this.blendSrcAlpha=e.blendSrcAlpha),e.blendDstAlpha!==void 0&&(this.blendDstAlpha=e.blendDstAlpha),e.blendEquationAlpha!==void 0&&(this.blendEquationAlpha=e.blendEquationAlpha),e.blendColor!==void 0&&this.blendColor!==void 0&&this.blendColor.setHex(e.blendColor),e.blendAlpha!==void 0&&(this.blendAlpha=e.blendAlpha),e.stencilWriteMask!==void 0&&(this.stencilWriteMask=e.stencilWriteMask),e.stencilFunc!==void 0&&(this.stencilFunc=e.stencilFunc),e.stencilRef!==void 0&&(this.stencilRef=e.stencilRef),e.stencilFuncMask!==void 0&&(this.stencilFuncMask=e.stencilFuncMask),e.stencilFail!==void 0&&(this.stencilFail=e.stencilFail),e.stencilZFail!==void 0&&(this.stencilZFail=e.stencilZFail),e.stencilZPass!==void 0&&(this.stencilZPass=e.stencilZPass),e.stencilWrite!==void 0&&(this.stencilWrite=e.stencilWrite),e.wireframe!==void 0&&(this.wireframe=e.wireframe),e.wireframeLinewidth!==void 0&&(this.wireframeLinewidth=e.wireframeLinewidth),e.wireframeLinecap!==void 0&&(this.wireframeLinecap=e.wireframeLinecap),e.wireframeLinejoin!==void 0&&(this.wireframeLinejoin=e.wireframeLinejoin),e.rotation!==void 0&&(this.rotation=e.rotation),e.linewidth!==void 0&&(this.linewidth=e.linewidth),e.linecap!==void 0&&(this.linecap=e.linecap),e.linejoin!==void 0&&(this.linejoin=e.linejoin),e.dashSize!==void 0&&(this.dashSize=e.dashSize),e.gapSize!==void 0&&(this.gapSize=e.gapSize),e.scale!==void 0&&(this.scale=e.scale),e.polygonOffset!==void 0&&(this.polygonOffset=e.polygonOffset),e.polygonOffsetFactor!==void 0&&(this.polygonOffsetFactor=e.polygonOffsetFactor),e.polygonOffsetUnits!==void 0&&(this.polygonOffsetUnits=e.polygonOffsetUnits),e.dithering!==void 0&&(this.dithering=e.dithering),e.alphaToCoverage!==void 0&&(this.alphaToCoverage=e.alphaToCoverage),e.premultipliedAlpha!==void 0&&(this.premultipliedAlpha=e.premultipliedAlpha),e.forceSinglePass!==void 0&&(this.forceSinglePass=e.forceSinglePass),e.allowOverride!==void 0&&(this.allowOverride=e.allowOverride),e.visible!==void 0&&(this.visible=e.visible),e.toneMapped!==void 0&&(this.toneMapped=e.toneMapped),e.userData!==void 0&&(this.userData=e.userData),e.vertexColors!==void 0&&(typeof e.vertexColors=="number"?this.vertexColors=e.vertexColors>0:this.vertexColors=e.vertexColors),e.size!==void 0&&(this.size=e.size),e.sizeAttenuation!==void 0&&(this.sizeAttenuation=e.sizeAttenuation),e.map!==void 0&&(this.map=t[e.map]||null),e.matcap!==void 0&&(this.matcap=t[e.matcap]||null),e.alphaMap!==void 0&&(this.alphaMap=t[e.alphaMap]||null),e.bumpMap!==void 0&&(this.bumpMap=t[e.bumpMap]||null),e.bumpScale!==void 0&&(this.bumpScale=e.bumpScale),e.normalMap!==void 0&&(this.normalMap=t[e.normalMap]||null),e.normalMapType!==void 0&&(this.normalMapType=e.normalMapType),e.normalScale!==void 0){let n=e.normalScale;Array.isArray(n)===!1&&(n=[n,n]),this.normalScale=new He().fromArray(n)}return e.displacementMap!==void 0&&(this.displacementMap=t[e.displacementMap]||null),e.displacementScale!==void 0&&(this.displacementScale=e.displacementScale),e.displacementBias!==void 0&&(this.displacementBias=e.displacementBias),e.roughnessMap!==void 0&&(this.roughnessMap=t[e.roughnessMap]||null),e.metalnessMap!==void 0&&(this.metalnessMap=t[e.metalnessMap]||null),e.emissiveMap!==void 0&&(this.emissiveMap=t[e.emissiveMap]||null),e.emissiveIntensity!==void 0&&(this.emissiveIntensity=e.emissiveIntensity),e.specularMap!==void 0&&(this.specularMap=t[e.specularMap]||null),e.specularIntensityMap!==void 0&&(this.specularIntensityMap=t[e.specularIntensityMap]||null),e.specularColorMap!==void 0&&(this.specularColorMap=t[e.specularColorMap]||null),e.envMap!==void 0&&(this.envMap=t[e.envMap]||null),e.envMapRotation!==void 0&&this.envMapRotation.fromArray(e.envMapRotation),e.envMapIntensity!==void 0&&(this.envMapIntensity=e.envMapIntensity),e.reflectivity!==void 0&&(this.reflectivity=e.reflectivity),e.refractionRatio!==void 0&&(this.refractionRatio=e.refractionRatio),e.lightMap!==void 0&&(this.lightMap=t[e.lightMap]||null),e.lightMapIntensity!==void 0&&(this.lightMapIntensity=e.lightMapIntensity),e.aoMap!==void 0&&(this.aoMap=t[e.aoMap]||null),e.aoMapIntensity!==void 0&&(this.aoMapIntensity=e.aoMapIntensity),e.gradientMap!==void 0&&(this.gradientMap=t[e.gradientMap]||null),e.clearcoatMap!==void 0&&(this.clearcoatMap=t[e.clearcoatMap]||null),e.clearcoatRoughnessMap!==void 0&&(this.clearcoatRoughnessMap=t[e.clearcoatRoughnessMap]||null),e.clearcoatNormalMap!==void 0&&(this.clearcoatNormalMap=t[e.clearcoatNormalMap]||null),e.clearcoatNormalScale!==void 0&&(this.clearcoatNormalScale=new He().fromArray(e.clearcoatNormalScale)),e.diffuseRoughnessMap!==void 0&&(this.diffuseRoughnessMap=t[e.diffuseRoughnessMap]||null),e.iridescenceMap!==void 0&&(this.iridescenceMap=t[e.iridescenceMap]||null),e.iridescenceThicknessMap!==void 0&&(this.iridescenceThicknessMap=t[e.iridescenceThicknessMap]||null),e.transmissionMap!==void 0&&(this.transmissionMap=t[e.transmissionMap]||null),e.thicknessMap!==void 0&&(this.thicknessMap=t[e.thicknessMap]||null),e.anisotropyMap!==void 0&&(this.anisotropyMap=t[e.anisotropyMap]||null),e.sheenColorMap!==void 0&&(this.sheenColorMap=t[e.sheenColorMap]||null),e.sheenRoughnessMap!==void 0&&(this.sheenRoughnessMap=t[e.sheenRoughnessMap]||null),this}clone(){return new this.constructor().copy(this)}copy(e){this.name=e.name,this.blending=e.blending,this.side=e.side,this.vertexColors=e.vertexColors,this.opacity=e.opacity,this.transparent=e.transparent,this.blendSrc=e.blendSrc,this.blendDst=e.blendDst,this.blendEquation=e.blendEquation,this.blendSrcAlpha=e.blendSrcAlpha,this.blendDstAlpha=e.blendDstAlpha,this.blendEquationAlpha=e.blendEquationAlpha,this.blendColor.copy(e.blendColor),this.blendAlpha=e.blendAlpha,this.depthFunc=e.depthFunc,this.depthTest=e.depthTest,this.depthWrite=e.depthWrite,this.stencilWriteMask=e.stencilWriteMask,this.stencilFunc=e.stencilFunc,this.stencilRef=e.stencilRef,this.stencilFuncMask=e.stencilFuncMask,this.stencilFail=e.stencilFail,this.stencilZFail=e.stencilZFail,this.stencilZPass=e.stencilZPass,this.stencilWrite=e.stencilWrite;let t=e.clippingPlanes,n=null;if(t!==null){let s=t.length;n=new Array(s);for(let r=0;r!==s;++r)n[r]=t[r].clone()}return this.clippingPlanes=n,this.clipIntersection=e.clipIntersection,this.clipShadows=e.clipShadows,this.shadowSide=e.shadowSide,this.colorWrite=e.colorWrite,this.precision=e.precision,this.polygonOffset=e.polygonOffset,this.polygonOffsetFactor=e.polygonOffsetFactor,this.polygonOffsetUnits=e.polygonOffsetUnits,this.dithering=e.dithering,this.alphaTest=e.alphaTest,this.alphaHash=e.alphaHash,this.alphaToCoverage=e.alphaToCoverage,this.premultipliedAlpha=e.premultipliedAlpha,this.forceSinglePass=e.forceSinglePass,this.allowOverride=e.allowOverride,this.visible=e.visible,this.toneMapped=e.toneMapped,this.userData=JSON.parse(JSON.stringify(e.userData)),this}dispose(){this.dispatchEvent({type:"dispose"})}set needsUpdate(e){e===!0&&this.version++}};var ms=new U,Ef=new U,Fl=new U,Ol=new U,ma=class{constructor(e=new U,t=new U(0,0,-1)){this.origin=e,this.direction=t}set(e,t){return this.origin.copy(e),this.direction.copy(t),this}copy(e){return this.origin.copy(e.origin),this.direction.copy(e.direction),this}at(e,t){return t.copy(this.origin).addScaledVector(this.direction,e)}lookAt(e){return this.direction.copy(e).sub(this.origin).normalize(),this}recast(e){return this.origin.copy(this.at(e,ms)),this}closestPointToPoint(e,t){t.subVectors(e,this.origin);let n=t.dot(this.direction);return n<0?t.copy(this.origin):t.copy(this.origin).addScaledVector(this.direction,n)}distanceToPoint(e){return Math.sqrt(this.distanceSqToPoint(e))}distanceSqToPoint(e){let t=ms.subVectors(e,this.origin).dot(this.direction);return t<0?this.origin.distanceToSquared(e):(ms.copy(this.origin).addScaledVector(this.direction,t),ms.distanceToSquared(e))}distanceSqToSegment(e,t,n,s){Ef.copy(e).add(t).multiplyScalar(.5),Fl.copy(t).sub(e).normalize(),Ol.copy(this.origin).sub(Ef);let r=e.distanceTo(t)*.5,o=-this.direction.dot(Fl),a=Ol.dot(this.direction),c=-Ol.dot(Fl),l=Ol.lengthSq(),u=Math.abs(1-o*o),h,f,d,g;if(u>0)if(h=o*c-a,f=o*a-c,g=r*u,h>=0)if(f>=-g)if(f<=g){let v=1/u;h*=v,f*=v,d=h*(h+o*f+2*a)+f*(o*h+f+2*c)+l}else f=r,h=Math.max(0,-(o*f+a)),d=-h*h+f*(f+2*c)+l;else f=-r,h=Math.max(0,-(o*f+a)),d=-h*h+f*(f+2*c)+l;else f<=-g?(h=Math.max(0,-(-o*r+a)),f=h>0?-r:Math.min(Math.max(-r,-c),r),d=-h*h+f*(f+2*c)+l):f<=g?(h=0,f=Math.min(Math.max(-r,-c),r),d=f*(f+2*c)+l):(h=Math.max(0,-(o*r+a)),f=h>0?r:Math.min(Math.max(-r,-c),r),d=-h*h+f*(f+2*c)+l);else f=o>0?-r:r,h=Math.max(0,-(o*f+a)),d=-h*h+f*(f+2*c)+l;return n&&n.copy(this.origin).addScaledVector(this.direction,h),s&&s.copy(Ef).addScaledVector(Fl,f),d}intersectSphere(e,t){if(e.radius<0)return null;ms.subVectors(e.center,this.origin);let n=ms.dot(this.direction),s=ms.dot(ms)-n*n,r=e.radius*e.radius;if(s>r)return null;let o=Math.sqrt(r-s),a=n-o,c=n+o;return c<0?null:a<0?this.at(c,t):this.at(a,t)}intersectsSphere(e){return e.radius<0?!1:this.distanceSqToPoint(e.center)<=e.radius*e.radius}distanceToPlane(e){let t=e.normal.dot(this.direction);if(t===0)return e.distanceToPoint(this.origin)===0?0:null;let n=-(this.origin.dot(e.normal)+e.constant)/t;return n>=0?n:null}intersectPlane(e,t){let n=this.distanceToPlane(e);return n===null?null:this.at(n,t)}intersectsPlane(e){let t=e.distanceToPoint(this.origin);return t===0||e.normal.dot(this.direction)*t<0}intersectBox(e,t){let n,s,r,o,a,c,l=1/this.direction.x,u=1/this.direction.y,h=1/this.direction.z,f=this.origin;return l>=0?(n=(e.min.x-f.x)*l,s=(e.max.x-f.x)*l):(n=(e.max.x-f.x)*l,s=(e.min.x-f.x)*l),u>=0?(r=(e.min.y-f.y)*u,o=(e.max.y-f.y)*u):(r=(e.max.y-f.y)*u,o=(e.min.y-f.y)*u),n>o||r>s||((r>n||isNaN(n))&&(n=r),(o<s||isNaN(s))&&(s=o),h>=0?(a=(e.min.z-f.z)*h,c=(e.max.z-f.z)*h):(a=(e.max.z-f.z)*h,c=(e.min.z-f.z)*h),n>c||a>s)||((a>n||n!==n)&&(n=a),(c<s||s!==s)&&(s=c),s<0)?null:this.at(n>=0?n:s,t)}intersectsBox(e){return this.intersectBox(e,ms)!==null}intersectTriangle(e,t,n,s,r){let o=this.origin,a=this.direction,c=a.x,l=a.y,u=a.z,h=e.x-o.x,f=e.y-o.y,d=e.z-o.z,g=t.x-o.x,v=t.y-o.y,m=t.z-o.z,p=n.x-o.x,y=n.y-o.y,T=n.z-o.z,S=Math.abs(c),C=Math.abs(l),E=Math.abs(u),x,A,F,L,I,k,V,N,W,$,H,ce;if(S>=C&&S>=E?(F=c,k=h,W=g,ce=p,c>=0?(x=l,A=u,L=f,I=d,V=v,N=m,$=y,H=T):(x=u,A=l,L=d,I=f,V=m,N=v,$=T,H=y)):C>=E?(F=l,k=f,W=v,ce=y,l>=0?(x=u,A=c,L=d,I=h,V=m,N=g,$=T,H=p):(x=c,A=u,L=h,I=d,V=g,N=m,$=p,H=T)):(F=u,k=d,W=m,ce=T,u>=0?(x=c,A=l,L=h,I=f,V=g,N=v,$=p,H=y):(x=l,A=c,L=f,I=h,V=v,N=g,$=y,H=p)),F===0)return null;let K=x/F,Q=A/F,se=1/F,fe=L-K*k,ue=I-Q*k,ee=V-K*W,me=N-Q*W,xe=$-K*ce,Te=H-Q*ce,be=xe*me-Te*ee,We=fe*Te-ue*xe,st=ee*ue-me*fe;if(s){if(be<0||We<0||st<0)return null}else if((be<0||We<0||st<0)&&(be>0||We>0||st>0))return null;let Ve=be+We+st;if(Ve===0)return null;let ut=se*(be*k+We*W+st*ce);return(Ve>0?ut<0:ut>0)?null:this.at(ut/Ve,r)}applyMatrix4(e){return this.origin.applyMatrix4(e),this.direction.transformDirection(e),this}equals(e){return e.origin.equals(this.origin)&&e.direction.equals(this.direction)}clone(){return new this.constructor().copy(this)}},_c=class extends vs{constructor(e){super(),this.isMeshBasicMaterial=!0,this.type="MeshBasicMaterial",this.color=new je(16777215),this.map=null,this.lightMap=null,this.lightMapIntensity=1,this.aoMap=null,this.aoMapIntensity=1,this.specularMap=null,this.alphaMap=null,this.envMap=null,this.envMapRotation=new ys,this.combine=qc,this.reflectivity=1,this.refractionRatio=.98,this.wireframe=!1,this.wireframeLinewidth=1,this.wireframeLinecap="round",this.wireframeLinejoin="round",this.fog=!0,this.setValues(e)}copy(e){return super.copy(e),this.color.copy(e.color),this.map=e.map,this.lightMap=e.lightMap,this.lightMapIntensity=e.lightMapIntensity,this.aoMap=e.aoMap,this.aoMapIntensity=e.aoMapIntensity,this.specularMap=e.specularMap,this.alphaMap=e.alphaMap,this.envMap=e.envMap,this.envMapRotation.copy(e.envMapRotation),this.combine=e.combine,this.reflectivity=e.reflectivity,this.refractionRatio=e.refractionRatio,this.wireframe=e.wireframe,this.wireframeLinewidth=e.wireframeLinewidth,this.wireframeLinecap=e.wireframeLinecap,this.wireframeLinejoin=e.wireframeLinejoin,this.fog=e.fog,this}},Zg=new Dt,lr=new ma,Bl=new Ii,Jg=new U,kl=new U,zl=new U,Vl=new U,Tf=new U,Gl=new U,Kg=new U,Hl=new U,en=class extends In{constructor(e=new Qt,t=new _c){super(),this.isMesh=!0,this.type="Mesh",this.geometry=e,this.material=t,this.morphTargetDictionary=void 0,this.morphTargetInfluences=void 0,this.count=1,this.updateMorphTargets()}copy(e,t){return super.copy(e,t),e.morphTargetInfluences!==void 0?this.morphTargetInfluences=e.morphTargetInfluences.slice():this.morphTargetInfluences=void 0,e.morphTargetDictionary!==void 0?this.morphTargetDictionary=Object.assign({},e.morphTargetDictionary):this.morphTargetDictionary=void 0,this.material=Array.isArray(e.material)?e.material.slice():e.material,this.geometry=e.geometry,this}updateMorphTargets(){let t=this.geometry.morphAttributes,n=Object.keys(t);if(n.length>0){let s=t[n[0]];if(s!==void 0){this.morphTargetInfluences=[],this.morphTargetDictionary={};for(let r=0,o=s.length;r<o;r++){let a=s[r].name||String(r);this.morphTargetInfluences.push(0),this.morphTargetDictionary[a]=r}}}}getVertexPosition(e,t){let n=this.geometry,s=n.attributes.position,r=n.morphAttributes.position,o=n.morphTargetsRelative;t.fromBufferAttribute(s,e);let a=this.morphTargetInfluences;if(r&&a){Gl.set(0,0,0);for(let c=0,l=r.length;c<l;c++){let u=a[c],h=r[c];u!==0&&(Tf.fromBufferAttribute(h,e),o?Gl.addScaledVector(Tf,u):Gl.addScaledVector(Tf.sub(t),u))}t.add(Gl)}return t}intersectsFrustum(e){return e.intersectsObject(this)}raycast(e,t){let n=this.geometry,s=this.material,r=this.matrixWorld;s!==void 0&&(n.boundingSphere===null&&n.computeBoundingSphere(),Bl.copy(n.boundingSphere),Bl.applyMatrix4(r),lr.copy(e.ray).recast(e.near),!(Bl.containsPoint(lr.origin)===!1&&(lr.intersectSphere(Bl,Jg)===null||lr.origin.distanceToSquared(Jg)>(e.far-e.near)**2))&&(Zg.copy(r).invert(),lr.copy(e.ray).applyMatrix4(Zg),!(n.boundingBox!==null&&lr.intersectsBox(n.boundingBox)===!1)&&this._computeIntersections(e,t,lr)))}_computeIntersections(e,t,n){let s,r=this.geometry,o=this.material,a=r.index,c=r.attributes.position,l=r.attributes.uv,u=r.attributes.uv1,h=r.attributes.normal,f=r.groups,d=r.drawRange;if(a!==null)if(Array.isArray(o))for(let g=0,v=f.length;g<v;g++){let m=f[g],p=o[m.materialIndex],y=Math.max(m.start,d.start),T=Math.min(a.count,Math.min(m.start+m.count,d.start+d.count));for(let S=y,C=T;S<C;S+=3){let E=a.getX(S),x=a.getX(S+1),A=a.getX(S+2);s=Wl(this,p,e,n,l,u,h,E,x,A),s&&(s.faceIndex=Math.floor(S/3),s.face.materialIndex=m.materialIndex,t.push(s))}}else{let g=Math.max(0,d.start),v=Math.min(a.count,d.start+d.count);for(let m=g,p=v;m<p;m+=3){let y=a.getX(m),T=a.getX(m+1),S=a.getX(m+2);s=Wl(this,o,e,n,l,u,h,y,T,S),s&&(s.faceIndex=Math.floor(m/3),t.push(s))}}else if(c!==void 0)if(Array.isArray(o))for(let g=0,v=f.length;g<v;g++){let m=f[g],p=o[m.materialIndex],y=Math.max(m.start,d.start),T=Math.min(c.count,Math.min(m.start+m.count,d.start+d.count));for(let S=y,C=T;S<C;S+=3){let E=S,x=S+1,A=S+2;s=Wl(this,p,e,n,l,u,h,E,x,A),s&&(s.faceIndex=Math.floor(S/3),s.face.materialIndex=m.materialIndex,t.push(s))}}else{let g=Math.max(0,d.start),v=Math.min(c.count,d.start+d.count);for(let m=g,p=v;m<p;m+=3){let y=m,T=m+1,S=m+2;s=Wl(this,o,e,n,l,u,h,y,T,S),s&&(s.faceIndex=Math.floor(m/3),t.push(s))}}}};function pS(i,e,t,n,s,r,o,a){let c;if(e.side===Cn?c=n.intersectTriangle(o,r,s,!0,a):c=n.intersectTriangle(s,r,o,e.side===Xs,a),c===null)return null;Hl.copy(a),Hl.applyMatrix4(i.matrixWorld);let l=t.ray.origin.distanceTo(Hl);return l<t.near||l>t.far?null:{distance:l,point:Hl.clone(),object:i}}function Wl(i,e,t,n,s,r,o,a,c,l){i.getVertexPosition(a,kl),i.getVertexPosition(c,zl),i.getVertexPosition(l,Vl);let u=pS(i,e,t,n,kl,zl,Vl,Kg);if(u){let h=new U;gs.getBarycoord(Kg,kl,zl,Vl,h),s&&(u.uv=gs.getInterpolatedAttribute(s,a,c,l,h,new He)),r&&(u.uv1=gs.getInterpolatedAttribute(r,a,c,l,h,new He)),o&&(u.normal=gs.getInterpolatedAttribute(o,a,c,l,h,new U),u.normal.dot(n.direction)>0&&u.normal.multiplyScalar(-1));let f={a,b:c,c:l,normal:new U,materialIndex:0};gs.getNormal(kl,zl,Vl,f.normal),u.face=f,u.barycoord=h}return u}var xc=class extends Kn{constructor(e=null,t=1,n=1,s,r,o,a,c,l=Tn,u=Tn,h,f){super(null,o,a,c,l,u,s,r,h,f),this.isDataTexture=!0,this.image={data:e,width:t,height:n},this.generateMipmaps=!1,this.flipY=!1,this.unpackAlignment=1}};var cr=new Ii,mS=new He(.5,.5),Xl=new U,ks=class{constructor(e=new hi,t=new hi,n=new hi,s=new hi,r=new hi,o=new hi){this.planes=[e,t,n,s,r,o]}set(e,t,n,s,r,o){let a=this.planes;return a[0].copy(e),a[1].copy(t),a[2].copy(n),a[3].copy(s),a[4].copy(r),a[5].copy(o),this}copy(e){let t=this.planes;for(let n=0;n<6;n++)t[n].copy(e.planes[n]);return this}setFromProjectionMatrix(e,t=yi,n=!1){let s=this.planes,r=e.elements,o=r[0],a=r[1],c=r[2],l=r[3],u=r[4],h=r[5],f=r[6],d=r[7],g=r[8],v=r[9],m=r[10],p=r[11],y=r[12],T=r[13],S=r[14],C=r[15];if(s[0].setComponents(l-o,d-u,p-g,C-y).normalize(),s[1].setComponents(l+o,d+u,p+g,C+y).normalize(),s[2].setComponents(l+a,d+h,p+v,C+T).normalize(),s[3].setComponents(l-a,d-h,p-v,C-T).normalize(),n)s[4].setComponents(c,f,m,S).normalize(),s[5].setComponents(l-c,d-f,p-m,C-S).normalize();else if(s[4].setComponents(l-c,d-f,p-m,C-S).normalize(),t===yi)s[5].setComponents(l+c,d+f,p+m,C+S).normalize();else if(t===co)s[5].setComponents(c,f,m,S).normalize();else throw new Error("THREE.Frustum.setFromProjectionMatrix(): Invalid coordinate system: "+t);return this}intersectsObject(e){if(e.boundingSphere!==void 0)e.boundingSphere===null&&e.computeBoundingSphere(),cr.copy(e.boundingSphere).applyMatrix4(e.matrixWorld);else{let t=e.geometry;t.boundingSphere===null&&t.computeBoundingSphere(),cr.copy(t.boundingSphere).applyMatrix4(e.matrixWorld)}return this.intersectsSphere(cr)}intersectsSprite(e){cr.center.set(0,0,0);let t=mS.distanceTo(e.center);return cr.radius=.7071067811865476+t,cr.applyMatrix4(e.matrixWorld),this.intersectsSphere(cr)}intersectsSphere(e){let t=this.planes,n=e.center,s=-e.radius;for(let r=0;r<6;r++)if(t[r].distanceToPoint(n)<s)return!1;return!0}intersectsBox(e){let t=this.planes;for(let n=0;n<6;n++){let s=t[n];if(Xl.x=s.normal.x>0?e.max.x:e.min.x,Xl.y=s.normal.y>0?e.max.y:e.min.y,Xl.z=s.normal.z>0?e.max.z:e.min.z,s.distanceToPoint(Xl)<0)return!1}return!0}containsPoint(e){let t=this.planes;for(let n=0;n<6;n++)if(t[n].distanceToPoint(e)<0)return!1;return!0}clone(){return new this.constructor().copy(this)}},jg=new Dt,yc=class i{constructor(){this.coordinateSystem=yi,this._frustums=[],this._count=0}setFromArrayCamera(e){let t=e.cameras,n=this._frustums;for(let s=0;s<t.length;s++){let r=t[s];jg.multiplyMatrices(r.projectionMatrix,r.matrixWorldInverse),n[s]===void 0&&(n[s]=new ks),n[s].setFromProjectionMatrix(jg,r.coordinateSystem,r.reversedDepth)}return this._count=t.length,this}getFrustum(e){return this._frustums[e]}intersectsObject(e){let t=this._frustums;for(let n=0;n<this._count;n++)if(t[n].intersectsObject(e))return!0;return!1}intersectsSprite(e){let t=this._frustums;for(let n=0;n<this._count;n++)if(t[n].intersectsSprite(e))return!0;return!1}intersectsSphere(e){let t=this._frustums;for(let n=0;n<this._count;n++)if(t[n].intersectsSphere(e))return!0;return!1}intersectsBox(e){let t=this._frustums;for(let n=0;n<this._count;n++)if(t[n].intersectsBox(e))return!0;return!1}containsPoint(e){let t=this._frustums;for(let n=0;n<this._count;n++)if(t[n].containsPoint(e))return!0;return!1}copy(e){this.coordinateSystem=e.coordinateSystem;let t=this._frustums,n=e._frustums;for(let s=0;s<e._count;s++)t[s]===void 0&&(t[s]=new ks),t[s].copy(n[s]);return this._count=e._count,this}clone(){return new i().copy(this)}};var hr=class extends vs{constructor(e){super(),this.isLineBasicMaterial=!0,this.type="LineBasicMaterial",this.color=new je(16777215),this.map=null,this.linewidth=1,this.linecap="round",this.linejoin="round",this.fog=!0,this.setValues(e)}copy(e){return super.copy(e),this.color.copy(e.color),this.map=e.map,this.linewidth=e.linewidth,this.linecap=e.linecap,this.linejoin=e.linejoin,this.fog=e.fog,this}},vc=new U,Sc=new U,Qg=new Dt,ea=new ma,ql=new Ii,Cf=new U,e0=new U,bc=class extends In{constructor(e=new Qt,t=new hr){super(),this.isLine=!0,this.type="Line",this.geometry=e,this.material=t,this.morphTargetDictionary=void 0,this.morphTargetInfluences=void 0,this.updateMorphTargets()}copy(e,t){return super.copy(e,t),e.morphTargetInfluences!==void 0?this.morphTargetInfluences=e.morphTargetInfluences.slice():this.morphTargetInfluences=void 0,e.morphTargetDictionary!==void 0?this.morphTargetDictionary=Object.assign({},e.morphTargetDictionary):this.morphTargetDictionary=void 0,this.material=Array.isArray(e.material)?e.material.slice():e.material,this.geometry=e.geometry,this}computeLineDistances(){let e=this.geometry;if(e.index===null){let t=e.attributes.position,n=[0];for(let s=1,r=t.count;s<r;s++)vc.fromBufferAttribute(t,s-1),Sc.fromBufferAttribute(t,s),n[s]=n[s-1],n[s]+=vc.distanceTo(Sc);e.setAttribute("lineDistance",new mt(n,1))}else Ye("Line.computeLineDistances(): Computation only possible with non-indexed BufferGeometry.");return this}intersectsFrustum(e){return e.intersectsObject(this)}raycast(e,t){let n=this.geometry,s=this.matrixWorld,r=e.params.Line.threshold,o=n.drawRange;if(n.boundingSphere===null&&n.computeBoundingSphere(),ql.copy(n.boundingSphere),ql.applyMatrix4(s),ql.radius+=r,e.ray.intersectsSphere(ql)===!1)return;Qg.copy(s).invert(),ea.copy(e.ray).applyMatrix4(Qg);let a=r/((this.scale.x+this.scale.y+this.scale.z)/3),c=a*a,l=this.isLineSegments?2:1,u=n.index,f=n.attributes.position;if(u!==null){let d=Math.max(0,o.start),g=Math.min(u.count,o.start+o.count);for(let v=d,m=g-1;v<m;v+=l){let p=u.getX(v),y=u.getX(v+1),T=Yl(this,e,ea,c,p,y,v);T&&t.push(T)}if(this.isLineLoop){let v=u.getX(g-1),m=u.getX(d),p=Yl(this,e,ea,c,v,m,g-1);p&&t.push(p)}}else{let d=Math.max(0,o.start),g=Math.min(f.count,o.start+o.count);for(let v=d,m=g-1;v<m;v+=l){let p=Yl(this,e,ea,c,v,v+1,v);p&&t.push(p)}if(this.isLineLoop){let v=Yl(this,e,ea,c,g-1,d,g-1);v&&t.push(v)}}}updateMorphTargets(){let t=this.geometry.morphAttributes,n=Object.keys(t);if(n.length>0){let s=t[n[0]];if(s!==void 0){this.morphTargetInfluences=[],this.morphTargetDictionary={};for(let r=0,o=s.length;r<o;r++){let a=s[r].name||String(r);this.morphTargetInfluences.push(0),this.morphTargetDictionary[a]=r}}}}};function Yl(i,e,t,n,s,r,o){let a=i.geometry.attributes.position;if(vc.fromBufferAttribute(a,s),Sc.fromBufferAttribute(a,r),t.distanceSqToSegment(vc,Sc,Cf,e0)>n)return;Cf.applyMatrix4(i.matrixWorld);let l=e.ray.origin.distanceTo(Cf);if(!(l<e.near||l>e.far))return{distance:l,point:e0.clone().applyMatrix4(i.matrixWorld),index:o,face:null,faceIndex:null,barycoord:null,object:i}}var t0=new U,n0=new U,mo=class extends bc{constructor(e,t){super(e,t),this.isLineSegments=!0,this.type="LineSegments"}computeLineDistances(){let e=this.geometry;if(e.index===null){let t=e.attributes.position,n=[];for(let s=0,r=t.count;s<r;s+=2)t0.fromBufferAttribute(t,s),n0.fromBufferAttribute(t,s+1),n[s]=s===0?0:n[s-1],n[s+1]=n[s]+t0.distanceTo(n0);e.setAttribute("lineDistance",new mt(n,1))}else Ye("LineSegments.computeLineDistances(): Computation only possible with non-indexed BufferGeometry.");return this}};var ga=class extends Kn{constructor(e=[],t=dr,n,s,r,o,a,c,l,u){super(e,t,n,s,r,o,a,c,l,u),this.isCubeTexture=!0,this.flipY=!1}get images(){return this.image}set images(e){this.image=e}};var Ss=class extends Kn{constructor(e,t,n=Ni,s,r,o,a=Tn,c=Tn,l,u=xs,h=1){if(u!==xs&&u!==Ms)throw new Error("THREE.DepthTexture: format must be either THREE.DepthFormat or THREE.DepthStencilFormat");let f={width:e,height:t,depth:h};super(f,s,r,o,a,c,u,n,l),this.isDepthTexture=!0,this.flipY=!1,this.generateMipmaps=!1,this.compareFunction=null}copy(e){return super.copy(e),this.source=new fo(Object.assign({},e.image)),this.compareFunction=e.compareFunction,this}toJSON(e){let t=super.toJSON(e);return t.compareFunction=this.compareFunction,t}},_a=class extends Ss{constructor(e,t=Ni,n=dr,s,r,o=Tn,a=Tn,c,l=xs){let u={width:e,height:e,depth:1},h=[u,u,u,u,u,u];super(e,e,t,n,s,r,o,a,c,l),this.image=h,this.isCubeDepthTexture=!0,this.isCubeTexture=!0}get images(){return this.image}set images(e){this.image=e}},xa=class extends Kn{constructor(e=null){super(),this.sourceTexture=e,this.isExternalTexture=!0}copy(e){return super.copy(e),this.sourceTexture=e.sourceTexture,this}},zs=class i extends Qt{constructor(e=1,t=1,n=1,s=1,r=1,o=1){super(),this.type="BoxGeometry",this.parameters={width:e,height:t,depth:n,widthSegments:s,heightSegments:r,depthSegments:o};let a=this;s=Math.floor(s),r=Math.floor(r),o=Math.floor(o);let c=[],l=[],u=[],h=[],f=0,d=0;g("z","y","x",-1,-1,n,t,e,o,r,0),g("z","y","x",1,-1,n,t,-e,o,r,1),g("x","z","y",1,1,e,n,t,s,o,2),g("x","z","y",1,-1,e,n,-t,s,o,3),g("x","y","z",1,-1,e,t,n,s,r,4),g("x","y","z",-1,-1,e,t,-n,s,r,5),this.setIndex(c),this.setAttribute("position",new mt(l,3)),this.setAttribute("normal",new mt(u,3)),this.setAttribute("uv",new mt(h,2));function g(v,m,p,y,T,S,C,E,x,A,F){let L=S/x,I=C/A,k=S/2,V=C/2,N=E/2,W=x+1,$=A+1,H=0,ce=0,K=new U;for(let Q=0;Q<$;Q++){let se=Q*I-V;for(let fe=0;fe<W;fe++){let ue=fe*L-k;K[v]=ue*y,K[m]=se*T,K[p]=N,l.push(K.x,K.y,K.z),K[v]=0,K[m]=0,K[p]=E>0?1:-1,u.push(K.x,K.y,K.z),h.push(fe/x),h.push(1-Q/A),H+=1}}for(let Q=0;Q<A;Q++)for(let se=0;se<x;se++){let fe=f+se+W*Q,ue=f+se+W*(Q+1),ee=f+(se+1)+W*(Q+1),me=f+(se+1)+W*Q;c.push(fe,ue,me),c.push(ue,ee,me),ce+=6}a.addGroup(d,ce,F),d+=ce,f+=H}}copy(e){return super.copy(e),this.parameters=Object.assign({},e.parameters),this}static fromJSON(e){return new i(e.width,e.height,e.depth,e.widthSegments,e.heightSegments,e.depthSegments)}},ya=class i extends Qt{constructor(e=1,t=1,n=4,s=8,r=1){super(),this.type="CapsuleGeometry",this.parameters={radius:e,height:t,capSegments:n,radialSegments:s,heightSegments:r},t=Math.max(0,t),n=Math.max(1,Math.floor(n)),s=Math.max(3,Math.floor(s)),r=Math.max(1,Math.floor(r));let o=[],a=[],c=[],l=[],u=t/2,h=Math.PI/2*e,f=t,d=2*h+f,g=n*2+r,v=s+1,m=new U,p=new U;for(let y=0;y<=g;y++){let T=0,S=0,C=0,E=0;if(y<=n){let F=y/n,L=F*Math.PI/2;S=-u-e*Math.cos(L),C=e*Math.sin(L),E=-e*Math.cos(L),T=F*h}else if(y<=n+r){let F=(y-n)/r;S=-u+F*t,C=e,E=0,T=h+F*f}else{let F=(y-n-r)/n,L=F*Math.PI/2;S=u+e*Math.sin(L),C=e*Math.cos(L),E=e*Math.sin(L),T=h+f+F*h}let x=Math.max(0,Math.min(1,T/d)),A=0;y===0?A=.5/s:y===g&&(A=-.5/s);for(let F=0;F<=s;F++){let L=F/s,I=L*Math.PI*2,k=Math.sin(I),V=Math.cos(I);p.x=-C*V,p.y=S,p.z=C*k,a.push(p.x,p.y,p.z),m.set(-C*V,E,C*k),m.normalize(),c.push(m.x,m.y,m.z),l.push(L+A,x)}if(y>0){let F=(y-1)*v;for(let L=0;L<s;L++){let I=F+L,k=F+L+1,V=y*v+L,N=y*v+L+1;o.push(I,k,V),o.push(k,N,V)}}}this.setIndex(o),this.setAttribute("position",new mt(a,3)),this.setAttribute("normal",new mt(c,3)),this.setAttribute("uv",new mt(l,2))}copy(e){return super.copy(e),this.parameters=Object.assign({},e.parameters),this}static fromJSON(e){return new i(e.radius,e.height,e.capSegments,e.radialSegments,e.heightSegments)}};var go=class i extends Qt{constructor(e=1,t=1,n=1,s=32,r=1,o=!1,a=0,c=Math.PI*2){super(),this.type="CylinderGeometry",this.parameters={radiusTop:e,radiusBottom:t,height:n,radialSegments:s,heightSegments:r,openEnded:o,thetaStart:a,thetaLength:c};let l=this;s=Math.floor(s),r=Math.floor(r);let u=[],h=[],f=[],d=[],g=0,v=[],m=n/2,p=0;y(),o===!1&&(e>0&&T(!0),t>0&&T(!1)),this.setIndex(u),this.setAttribute("position",new mt(h,3)),this.setAttribute("normal",new mt(f,3)),this.setAttribute("uv",new mt(d,2));function y(){let S=new U,C=new U,E=0,x=(t-e)/n;for(let A=0;A<=r;A++){let F=[],L=A/r,I=L*(t-e)+e;for(let k=0;k<=s;k++){let V=k/s,N=V*c+a,W=Math.sin(N),$=Math.cos(N);C.x=I*W,C.y=-L*n+m,C.z=I*$,h.push(C.x,C.y,C.z),S.set(W,x,$).normalize(),f.push(S.x,S.y,S.z),d.push(V,1-L),F.push(g++)}v.push(F)}for(let A=0;A<s;A++)for(let F=0;F<r;F++){let L=v[F][A],I=v[F+1][A],k=v[F+1][A+1],V=v[F][A+1];(e>0||F!==0)&&(u.push(L,I,V),E+=3),(t>0||F!==r-1)&&(u.push(I,k,V),E+=3)}l.addGroup(p,E,0),p+=E}function T(S){let C=g,E=new He,x=new U,A=0,F=S===!0?e:t,L=S===!0?1:-1;for(let k=1;k<=s;k++)h.push(0,m*L,0),f.push(0,L,0),d.push(.5,.5),g++;let I=g;for(let k=0;k<=s;k++){let N=k/s*c+a,W=Math.cos(N),$=Math.sin(N);x.x=F*$,x.y=m*L,x.z=F*W,h.push(x.x,x.y,x.z),f.push(0,L,0),E.x=W*.5+.5,E.y=$*.5*L+.5,d.push(E.x,E.y),g++}for(let k=0;k<s;k++){let V=C+k,N=I+k;S===!0?u.push(N,N+1,V):u.push(N+1,N,V),A+=3}l.addGroup(p,A,S===!0?1:2),p+=A}}copy(e){return super.copy(e),this.parameters=Object.assign({},e.parameters),this}static fromJSON(e){return new i(e.radiusTop,e.radiusBottom,e.height,e.radialSegments,e.heightSegments,e.openEnded,e.thetaStart,e.thetaLength)}};var $l=new U,Zl=new U,Rf=new U,Jl=new gs,va=class extends Qt{constructor(e=null,t=1){if(super(),this.type="EdgesGeometry",this.parameters={geometry:e,thresholdAngle:t},e!==null){let s=Math.pow(10,4),r=Math.cos(oo*t),o=e.getIndex(),a=e.getAttribute("position"),c=o?o.count:a.count,l=[0,0,0],u=["a","b","c"],h=new Array(3),f=new Map,d=[];for(let g=0;g<c;g+=3){o?(l[0]=o.getX(g),l[1]=o.getX(g+1),l[2]=o.getX(g+2)):(l[0]=g,l[1]=g+1,l[2]=g+2);let{a:v,b:m,c:p}=Jl;if(v.fromBufferAttribute(a,l[0]),m.fromBufferAttribute(a,l[1]),p.fromBufferAttribute(a,l[2]),Jl.getNormal(Rf),h[0]=`${Math.round(v.x*s)},${Math.round(v.y*s)},${Math.round(v.z*s)}`,h[1]=`${Math.round(m.x*s)},${Math.round(m.y*s)},${Math.round(m.z*s)}`,h[2]=`${Math.round(p.x*s)},${Math.round(p.y*s)},${Math.round(p.z*s)}`,!(h[0]===h[1]||h[1]===h[2]||h[2]===h[0]))for(let y=0;y<3;y++){let T=(y+1)%3,S=h[y],C=h[T],E=Jl[u[y]],x=Jl[u[T]],A=`${S}_${C}`,F=`${C}_${S}`,L=f.get(F);L?(Rf.dot(L.normal)<=r&&(d.push(E.x,E.y,E.z),d.push(x.x,x.y,x.z)),f.set(F,null)):f.has(A)||f.set(A,{index0:l[y],index1:l[T],normal:Rf.clone()})}}for(let g of f.values())if(g){let{index0:v,index1:m}=g;$l.fromBufferAttribute(a,v),Zl.fromBufferAttribute(a,m),d.push($l.x,$l.y,$l.z),d.push(Zl.x,Zl.y,Zl.z)}this.setAttribute("position",new mt(d,3))}}copy(e){return super.copy(e),this.parameters=Object.assign({},e.parameters),this}},vi=class{constructor(){this.type="Curve",this.arcLengthDivisions=200,this.needsUpdate=!1,this.cacheArcLengths=null}getPoint(){Ye("Curve: .getPoint() not implemented.")}getPointAt(e,t){let n=this.getUtoTmapping(e);return this.getPoint(n,t)}getPoints(e=5){let t=[];for(let n=0;n<=e;n++)t.push(this.getPoint(n/e));return t}getSpacedPoints(e=5){let t=[];for(let n=0;n<=e;n++)t.push(this.getPointAt(n/e));return t}getLength(){let e=this.getLengths();return e[e.length-1]}getLengths(e=this.arcLengthDivisions){if(this.cacheArcLengths&&this.cacheArcLengths.length===e+1&&!this.needsUpdate)return this.cacheArcLengths;this.needsUpdate=!1;let t=[],n,s=this.getPoint(0),r=0;t.push(0);for(let o=1;o<=e;o++)n=this.getPoint(o/e),r+=n.distanceTo(s),t.push(r),s=n;return this.cacheArcLengths=t,t}updateArcLengths(){this.needsUpdate=!0,this.getLengths()}getUtoTmapping(e,t=null){let n=this.getLengths(),s=0,r=n.length,o;t?o=t:o=e*n[r-1];let a=0,c=r-1,l;for(;a<=c;)if(s=Math.floor(a+(c-a)/2),l=n[s]-o,l<0)a=s+1;else if(l>0)c=s-1;else{c=s;break}if(s=c,n[s]===o)return s/(r-1);let u=n[s],f=n[s+1]-u,d=(o-u)/f;return(s+d)/(r-1)}getTangent(e,t){let s=e-1e-4,r=e+1e-4;s<0&&(s=0),r>1&&(r=1);let o=this.getPoint(s),a=this.getPoint(r),c=t||(o.isVector2?new He:new U);return c.copy(a).sub(o).normalize(),c}getTangentAt(e,t){let n=this.getUtoTmapping(e);return this.getTangent(n,t)}computeFrenetFrames(e,t=!1){let n=new U,s=[],r=[],o=[],a=new U,c=new Dt;for(let d=0;d<=e;d++){let g=d/e;s[d]=this.getTangentAt(g,new U)}r[0]=new U,o[0]=new U;let l=Number.MAX_VALUE,u=Math.abs(s[0].x),h=Math.abs(s[0].y),f=Math.abs(s[0].z);u<=l&&(l=u,n.set(1,0,0)),h<=l&&(l=h,n.set(0,1,0)),f<=l&&n.set(0,0,1),a.crossVectors(s[0],n).normalize(),r[0].crossVectors(s[0],a),o[0].crossVectors(s[0],r[0]);for(let d=1;d<=e;d++){if(r[d]=r[d-1].clone(),o[d]=o[d-1].clone(),a.crossVectors(s[d-1],s[d]),a.length()>Number.EPSILON){a.normalize();let g=Math.acos(ot(s[d-1].dot(s[d]),-1,1));r[d].applyMatrix4(c.makeRotationAxis(a,g))}o[d].crossVectors(s[d],r[d])}if(t===!0){let d=Math.acos(ot(r[0].dot(r[e]),-1,1));d/=e,s[0].dot(a.crossVectors(r[0],r[e]))>0&&(d=-d);for(let g=1;g<=e;g++)r[g].applyMatrix4(c.makeRotationAxis(s[g],d*g)),o[g].crossVectors(s[g],r[g])}return{tangents:s,normals:r,binormals:o}}clone(){return new this.constructor().copy(this)}copy(e){return this.arcLengthDivisions=e.arcLengthDivisions,this.cacheArcLengths=null,this}toJSON(){let e={metadata:{version:4.7,type:"Curve",generator:"Curve.toJSON"}};return e.arcLengthDivisions=this.arcLengthDivisions,e.type=this.type,e}fromJSON(e){return this.arcLengthDivisions=e.arcLengthDivisions,this.cacheArcLengths=null,this}},Sa=class extends vi{constructor(e=0,t=0,n=1,s=1,r=0,o=Math.PI*2,a=!1,c=0){super(),this.isEllipseCurve=!0,this.type="EllipseCurve",this.aX=e,this.aY=t,this.xRadius=n,this.yRadius=s,this.aStartAngle=r,this.aEndAngle=o,this.aClockwise=a,this.aRotation=c}getPoint(e,t=new He){let n=t,s=Math.PI*2,r=this.aEndAngle-this.aStartAngle,o=Math.abs(r)<Number.EPSILON;for(;r<0;)r+=s;for(;r>s;)r-=s;r<Number.EPSILON&&(o?r=0:r=s),this.aClockwise===!0&&!o&&(r===s?r=-s:r=r-s);let a=this.aStartAngle+e*r,c=this.aX+this.xRadius*Math.cos(a),l=this.aY+this.yRadius*Math.sin(a);if(this.aRotation!==0){let u=Math.cos(this.aRotation),h=Math.sin(this.aRotation),f=c-this.aX,d=l-this.aY;c=f*u-d*h+this.aX,l=f*h+d*u+this.aY}return n.set(c,l)}copy(e){return super.copy(e),this.aX=e.aX,this.aY=e.aY,this.xRadius=e.xRadius,this.yRadius=e.yRadius,this.aStartAngle=e.aStartAngle,this.aEndAngle=e.aEndAngle,this.aClockwise=e.aClockwise,this.aRotation=e.aRotation,this}toJSON(){let e=super.toJSON();return e.aX=this.aX,e.aY=this.aY,e.xRadius=this.xRadius,e.yRadius=this.yRadius,e.aStartAngle=this.aStartAngle,e.aEndAngle=this.aEndAngle,e.aClockwise=this.aClockwise,e.aRotation=this.aRotation,e}fromJSON(e){return super.fromJSON(e),this.aX=e.aX,this.aY=e.aY,this.xRadius=e.xRadius,this.yRadius=e.yRadius,this.aStartAngle=e.aStartAngle,this.aEndAngle=e.aEndAngle,this.aClockwise=e.aClockwise,this.aRotation=e.aRotation,this}},Mc=class extends Sa{constructor(e,t,n,s,r,o){super(e,t,n,n,s,r,o),this.isArcCurve=!0,this.type="ArcCurve"}};function yd(){let i=0,e=0,t=0,n=0;function s(r,o,a,c){i=r,e=a,t=-3*r+3*o-2*a-c,n=2*r-2*o+a+c}return{initCatmullRom:function(r,o,a,c,l){s(o,a,l*(a-r),l*(c-o))},initNonuniformCatmullRom:function(r,o,a,c,l,u,h){let f=(o-r)/l-(a-r)/(l+u)+(a-o)/u,d=(a-o)/u-(c-o)/(u+h)+(c-a)/h;f*=u,d*=u,s(o,a,f,d)},calc:function(r){let o=r*r,a=o*r;return i+e*r+t*o+n*a}}}var i0=new U,s0=new U,Pf=new yd,If=new yd,Lf=new yd,_o=class extends vi{constructor(e=[],t=!1,n="centripetal",s=.5){super(),this.isCatmullRomCurve3=!0,this.type="CatmullRomCurve3",this.points=e,this.closed=t,this.curveType=n,this.tension=s}getPoint(e,t=new U){let n=t,s=this.points,r=s.length,o=(r-(this.closed?0:1))*e,a=Math.floor(o),c=o-a;this.closed?a+=a>0?0:(Math.floor(Math.abs(a)/r)+1)*r:c===0&&a===r-1&&(a=r-2,c=1);let l,u;this.closed||a>0?l=s[(a-1)%r]:(s0.subVectors(s[0],s[1]).add(s[0]),l=s0);let h=s[a%r],f=s[(a+1)%r];if(this.closed||a+2<r?u=s[(a+2)%r]:(i0.subVectors(s[r-1],s[r-2]).add(s[r-1]),u=i0),this.curveType==="centripetal"||this.curveType==="chordal"){let d=this.curveType==="chordal"?.5:.25,g=Math.pow(l.distanceToSquared(h),d),v=Math.pow(h.distanceToSquared(f),d),m=Math.pow(f.distanceToSquared(u),d);v<1e-4&&(v=1),g<1e-4&&(g=v),m<1e-4&&(m=v),Pf.initNonuniformCatmullRom(l.x,h.x,f.x,u.x,g,v,m),If.initNonuniformCatmullRom(l.y,h.y,f.y,u.y,g,v,m),Lf.initNonuniformCatmullRom(l.z,h.z,f.z,u.z,g,v,m)}else this.curveType==="catmullrom"&&(Pf.initCatmullRom(l.x,h.x,f.x,u.x,this.tension),If.initCatmullRom(l.y,h.y,f.y,u.y,this.tension),Lf.initCatmullRom(l.z,h.z,f.z,u.z,this.tension));return n.set(Pf.calc(c),If.calc(c),Lf.calc(c)),n}copy(e){super.copy(e),this.points=[];for(let t=0,n=e.points.length;t<n;t++){let s=e.points[t];this.points.push(s.clone())}return this.closed=e.closed,this.curveType=e.curveType,this.tension=e.tension,this}toJSON(){let e=super.toJSON();e.points=[];for(let t=0,n=this.points.length;t<n;t++){let s=this.points[t];e.points.push(s.toArray())}return e.closed=this.closed,e.curveType=this.curveType,e.tension=this.tension,e}fromJSON(e){super.fromJSON(e),this.points=[];for(let t=0,n=e.points.length;t<n;t++){let s=e.points[t];this.points.push(new U().fromArray(s))}return this.closed=e.closed,this.curveType=e.curveType,this.tension=e.tension,this}};function r0(i,e,t,n,s){let r=(n-e)*.5,o=(s-t)*.5,a=i*i,c=i*a;return(2*t-2*n+r+o)*c+(-3*t+3*n-2*r-o)*a+r*i+t}function gS(i,e){let t=1-i;return t*t*e}function _S(i,e){return 2*(1-i)*i*e}function xS(i,e){return i*i*e}function ia(i,e,t,n){return gS(i,e)+_S(i,t)+xS(i,n)}function yS(i,e){let t=1-i;return t*t*t*e}function vS(i,e){let t=1-i;return 3*t*t*i*e}function SS(i,e){return 3*(1-i)*i*i*e}function bS(i,e){return i*i*i*e}function sa(i,e,t,n,s){return yS(i,e)+vS(i,t)+SS(i,n)+bS(i,s)}var wc=class extends vi{constructor(e=new He,t=new He,n=new He,s=new He){super(),this.isCubicBezierCurve=!0,this.type="CubicBezierCurve",this.v0=e,this.v1=t,this.v2=n,this.v3=s}getPoint(e,t=new He){let n=t,s=this.v0,r=this.v1,o=this.v2,a=this.v3;return n.set(sa(e,s.x,r.x,o.x,a.x),sa(e,s.y,r.y,o.y,a.y)),n}copy(e){return super.copy(e),this.v0.copy(e.v0),this.v1.copy(e.v1),this.v2.copy(e.v2),this.v3.copy(e.v3),this}toJSON(){let e=super.toJSON();return e.v0=this.v0.toArray(),e.v1=this.v1.toArray(),e.v2=this.v2.toArray(),e.v3=this.v3.toArray(),e}fromJSON(e){return super.fromJSON(e),this.v0.fromArray(e.v0),this.v1.fromArray(e.v1),this.v2.fromArray(e.v2),this.v3.fromArray(e.v3),this}},Ac=class extends vi{constructor(e=new U,t=new U,n=new U,s=new U){super(),this.isCubicBezierCurve3=!0,this.type="CubicBezierCurve3",this.v0=e,this.v1=t,this.v2=n,this.v3=s}getPoint(e,t=new U){let n=t,s=this.v0,r=this.v1,o=this.v2,a=this.v3;return n.set(sa(e,s.x,r.x,o.x,a.x),sa(e,s.y,r.y,o.y,a.y),sa(e,s.z,r.z,o.z,a.z)),n}copy(e){return super.copy(e),this.v0.copy(e.v0),this.v1.copy(e.v1),this.v2.copy(e.v2),this.v3.copy(e.v3),this}toJSON(){let e=super.toJSON();return e.v0=this.v0.toArray(),e.v1=this.v1.toArray(),e.v2=this.v2.toArray(),e.v3=this.v3.toArray(),e}fromJSON(e){return super.fromJSON(e),this.v0.fromArray(e.v0),this.v1.fromArray(e.v1),this.v2.fromArray(e.v2),this.v3.fromArray(e.v3),this}},Ec=class extends vi{constructor(e=new He,t=new He){super(),this.isLineCurve=!0,this.type="LineCurve",this.v1=e,this.v2=t}getPoint(e,t=new He){let n=t;return e===1?n.copy(this.v2):(n.copy(this.v2).sub(this.v1),n.multiplyScalar(e).add(this.v1)),n}getPointAt(e,t){return this.getPoint(e,t)}getTangent(e,t=new He){return t.subVectors(this.v2,this.v1).normalize()}getTangentAt(e,t){return this.getTangent(e,t)}copy(e){return super.copy(e),this.v1.copy(e.v1),this.v2.copy(e.v2),this}toJSON(){let e=super.toJSON();return e.v1=this.v1.toArray(),e.v2=this.v2.toArray(),e}fromJSON(e){return super.fromJSON(e),this.v1.fromArray(e.v1),this.v2.fromArray(e.v2),this}},Tc=class extends vi{constructor(e=new U,t=new U){super(),this.isLineCurve3=!0,this.type="LineCurve3",this.v1=e,this.v2=t}getPoint(e,t=new U){let n=t;return e===1?n.copy(this.v2):(n.copy(this.v2).sub(this.v1),n.multiplyScalar(e).add(this.v1)),n}getPointAt(e,t){return this.getPoint(e,t)}getTangent(e,t=new U){return t.subVectors(this.v2,this.v1).normalize()}getTangentAt(e,t){return this.getTangent(e,t)}copy(e){return super.copy(e),this.v1.copy(e.v1),this.v2.copy(e.v2),this}toJSON(){let e=super.toJSON();return e.v1=this.v1.toArray(),e.v2=this.v2.toArray(),e}fromJSON(e){return super.fromJSON(e),this.v1.fromArray(e.v1),this.v2.fromArray(e.v2),this}},Cc=class extends vi{constructor(e=new He,t=new He,n=new He){super(),this.isQuadraticBezierCurve=!0,this.type="QuadraticBezierCurve",this.v0=e,this.v1=t,this.v2=n}getPoint(e,t=new He){let n=t,s=this.v0,r=this.v1,o=this.v2;return n.set(ia(e,s.x,r.x,o.x),ia(e,s.y,r.y,o.y)),n}copy(e){return super.copy(e),this.v0.copy(e.v0),this.v1.copy(e.v1),this.v2.copy(e.v2),this}toJSON(){let e=super.toJSON();return e.v0=this.v0.toArray(),e.v1=this.v1.toArray(),e.v2=this.v2.toArray(),e}fromJSON(e){return super.fromJSON(e),this.v0.fromArray(e.v0),this.v1.fromArray(e.v1),this.v2.fromArray(e.v2),this}},ba=class extends vi{constructor(e=new U,t=new U,n=new U){super(),this.isQuadraticBezierCurve3=!0,this.type="QuadraticBezierCurve3",this.v0=e,this.v1=t,this.v2=n}getPoint(e,t=new U){let n=t,s=this.v0,r=this.v1,o=this.v2;return n.set(ia(e,s.x,r.x,o.x),ia(e,s.y,r.y,o.y),ia(e,s.z,r.z,o.z)),n}copy(e){return super.copy(e),this.v0.copy(e.v0),this.v1.copy(e.v1),this.v2.copy(e.v2),this}toJSON(){let e=super.toJSON();return e.v0=this.v0.toArray(),e.v1=this.v1.toArray(),e.v2=this.v2.toArray(),e}fromJSON(e){return super.fromJSON(e),this.v0.fromArray(e.v0),this.v1.fromArray(e.v1),this.v2.fromArray(e.v2),this}},Rc=class extends vi{constructor(e=[]){super(),this.isSplineCurve=!0,this.type="SplineCurve",this.points=e}getPoint(e,t=new He){let n=t,s=this.points,r=(s.length-1)*e,o=Math.floor(r),a=r-o,c=s[o===0?o:o-1],l=s[o],u=s[o>s.length-2?s.length-1:o+1],h=s[o>s.length-3?s.length-1:o+2];return n.set(r0(a,c.x,l.x,u.x,h.x),r0(a,c.y,l.y,u.y,h.y)),n}copy(e){super.copy(e),this.points=[];for(let t=0,n=e.points.length;t<n;t++){let s=e.points[t];this.points.push(s.clone())}return this}toJSON(){let e=super.toJSON();e.points=[];for(let t=0,n=this.points.length;t<n;t++){let s=this.points[t];e.points.push(s.toArray())}return e}fromJSON(e){super.fromJSON(e),this.points=[];for(let t=0,n=e.points.length;t<n;t++){let s=e.points[t];this.points.push(new He().fromArray(s))}return this}},MS=Object.freeze({__proto__:null,ArcCurve:Mc,CatmullRomCurve3:_o,CubicBezierCurve:wc,CubicBezierCurve3:Ac,EllipseCurve:Sa,LineCurve:Ec,LineCurve3:Tc,QuadraticBezierCurve:Cc,QuadraticBezierCurve3:ba,SplineCurve:Rc});var Ma=class i extends Qt{constructor(e=1,t=1,n=1,s=1){super(),this.type="PlaneGeometry",this.parameters={width:e,height:t,widthSegments:n,heightSegments:s};let r=e/2,o=t/2,a=Math.floor(n),c=Math.floor(s),l=a+1,u=c+1,h=e/a,f=t/c,d=[],g=[],v=[],m=[];for(let p=0;p<u;p++){let y=p*f-o;for(let T=0;T<l;T++){let S=T*h-r;g.push(S,-y,0),v.push(0,0,1),m.push(T/a),m.push(1-p/c)}}for(let p=0;p<c;p++)for(let y=0;y<a;y++){let T=y+l*p,S=y+l*(p+1),C=y+1+l*(p+1),E=y+1+l*p;d.push(T,S,E),d.push(S,C,E)}this.setIndex(d),this.setAttribute("position",new mt(g,3)),this.setAttribute("normal",new mt(v,3)),this.setAttribute("uv",new mt(m,2))}copy(e){return super.copy(e),this.parameters=Object.assign({},e.parameters),this}static fromJSON(e){return new i(e.width,e.height,e.widthSegments,e.heightSegments)}};var wa=class i extends Qt{constructor(e=1,t=32,n=16,s=0,r=Math.PI*2,o=0,a=Math.PI){super(),this.type="SphereGeometry",this.parameters={radius:e,widthSegments:t,heightSegments:n,phiStart:s,phiLength:r,thetaStart:o,thetaLength:a},t=Math.max(3,Math.floor(t)),n=Math.max(2,Math.floor(n));let c=Math.min(o+a,Math.PI),l=0,u=[],h=new U,f=new U,d=[],g=[],v=[],m=[];for(let p=0;p<=n;p++){let y=[],T=p/n,S=o+T*a,C=e*Math.cos(S),E=Math.sqrt(e*e-C*C),x=0;p===0&&o===0?x=.5/t:p===n&&c===Math.PI&&(x=-.5/t);for(let A=0;A<=t;A++){let F=A/t,L=s+F*r;h.x=-E*Math.cos(L),h.y=C,h.z=E*Math.sin(L),g.push(h.x,h.y,h.z),f.copy(h).normalize(),v.push(f.x,f.y,f.z),m.push(F+x,1-T),y.push(l++)}u.push(y)}for(let p=0;p<n;p++)for(let y=0;y<t;y++){let T=u[p][y+1],S=u[p][y],C=u[p+1][y],E=u[p+1][y+1];(p!==0||o>0)&&d.push(T,S,E),(p!==n-1||c<Math.PI)&&d.push(S,C,E)}this.setIndex(d),this.setAttribute("position",new mt(g,3)),this.setAttribute("normal",new mt(v,3)),this.setAttribute("uv",new mt(m,2))}copy(e){return super.copy(e),this.parameters=Object.assign({},e.parameters),this}static fromJSON(e){return new i(e.radius,e.widthSegments,e.heightSegments,e.phiStart,e.phiLength,e.thetaStart,e.thetaLength)}};var Aa=class i extends Qt{constructor(e=new ba(new U(-1,-1,0),new U(-1,1,0),new U(1,1,0)),t=64,n=1,s=8,r=!1){super(),this.type="TubeGeometry",this.parameters={path:e,tubularSegments:t,radius:n,radialSegments:s,closed:r};let o=e.computeFrenetFrames(t,r);this.tangents=o.tangents,this.normals=o.normals,this.binormals=o.binormals;let a=new U,c=new U,l=new He,u=new U,h=[],f=[],d=[],g=[];v(),this.setIndex(g),this.setAttribute("position",new mt(h,3)),this.setAttribute("normal",new mt(f,3)),this.setAttribute("uv",new mt(d,2));function v(){for(let T=0;T<t;T++)m(T);m(r===!1?t:0),y(),p()}function m(T){u=e.getPointAt(T/t,u);let S=o.normals[T],C=o.binormals[T];for(let E=0;E<=s;E++){let x=E/s*Math.PI*2,A=Math.sin(x),F=-Math.cos(x);c.x=F*S.x+A*C.x,c.y=F*S.y+A*C.y,c.z=F*S.z+A*C.z,c.normalize(),f.push(c.x,c.y,c.z),a.x=u.x+n*c.x,a.y=u.y+n*c.y,a.z=u.z+n*c.z,h.push(a.x,a.y,a.z)}}function p(){for(let T=1;T<=t;T++)for(let S=1;S<=s;S++){let C=(s+1)*(T-1)+(S-1),E=(s+1)*T+(S-1),x=(s+1)*T+S,A=(s+1)*(T-1)+S;g.push(C,E,A),g.push(E,x,A)}}function y(){for(let T=0;T<=t;T++)for(let S=0;S<=s;S++)l.x=T/t,l.y=S/s,d.push(l.x,l.y)}}copy(e){return super.copy(e),this.parameters=Object.assign({},e.parameters),this}toJSON(){let e=super.toJSON();return e.path=this.parameters.path.toJSON(),e}static fromJSON(e){return new i(new MS[e.path.type]().fromJSON(e.path),e.tubularSegments,e.radius,e.radialSegments,e.closed)}},Ea=class extends Qt{constructor(e=null){if(super(),this.type="WireframeGeometry",this.parameters={geometry:e},e!==null){let t=[],n=new Set,s=new U,r=new U;if(e.index!==null){let o=e.attributes.position,a=e.index,c=e.groups;c.length===0&&(c=[{start:0,count:a.count,materialIndex:0}]);for(let l=0,u=c.length;l<u;++l){let h=c[l],f=h.start,d=h.count;for(let g=f,v=f+d;g<v;g+=3)for(let m=0;m<3;m++){let p=a.getX(g+m),y=a.getX(g+(m+1)%3);s.fromBufferAttribute(o,p),r.fromBufferAttribute(o,y),o0(s,r,n)===!0&&(t.push(s.x,s.y,s.z),t.push(r.x,r.y,r.z))}}}else{let o=e.attributes.position;for(let a=0,c=o.count/3;a<c;a++)for(let l=0;l<3;l++){let u=3*a+l,h=3*a+(l+1)%3;s.fromBufferAttribute(o,u),r.fromBufferAttribute(o,h),o0(s,r,n)===!0&&(t.push(s.x,s.y,s.z),t.push(r.x,r.y,r.z))}}this.setAttribute("position",new mt(t,3))}}copy(e){return super.copy(e),this.parameters=Object.assign({},e.parameters),this}};function o0(i,e,t){let n=`${i.x},${i.y},${i.z}-${e.x},${e.y},${e.z}`,s=`${e.x},${e.y},${e.z}-${i.x},${i.y},${i.z}`;return t.has(n)===!0||t.has(s)===!0?!1:(t.add(n),t.add(s),!0)}function mr(i){let e={};for(let t in i){e[t]={};for(let n in i[t]){let s=i[t][n];if(a0(s))s.isRenderTargetTexture?(Ye("UniformsUtils: Textures of render targets cannot be cloned via cloneUniforms() or mergeUniforms()."),e[t][n]=null):e[t][n]=s.clone();else if(Array.isArray(s))if(a0(s[0])){let r=[];for(let o=0,a=s.length;o<a;o++)r[o]=s[o].clone();e[t][n]=r}else e[t][n]=s.slice();else e[t][n]=s}}return e}function kn(i){let e={};for(let t=0;t<i.length;t++){let n=mr(i[t]);for(let s in n)e[s]=n[s]}return e}function a0(i){return i&&(i.isColor||i.isMatrix3||i.isMatrix4||i.isVector2||i.isVector3||i.isVector4||i.isTexture||i.isQuaternion)}function wS(i){let e=[];for(let t=0;t<i.length;t++)e.push(i[t].clone());return e}function vd(i){let e=i.getRenderTarget();return e===null?i.outputColorSpace:e.isXRRenderTarget===!0?e.texture.colorSpace:xt.workingColorSpace}var Wa={clone:mr,merge:kn},AS=`void main() {
	gl_Position = projectionMatrix * modelViewMatrix * vec4( position, 1.0 );
}`,ES=`void main() {
	gl_FragColor = vec4( 1.0, 0.0, 0.0, 1.0 );
}`,Zn=class extends vs{constructor(e){super(),this.isShaderMaterial=!0,this.type="ShaderMaterial",this.defines={},this.uniforms={},this.uniformsGroups=[],this.vertexShader=AS,this.fragmentShader=ES,this.linewidth=1,this.wireframe=!1,this.wireframeLinewidth=1,this.fog=!1,this.lights=!1,this.clipping=!1,this.forceSinglePass=!0,this.extensions={clipCullDistance:!1,multiDraw:!1},this.defaultAttributeValues={color:[1,1,1],uv:[0,0],uv1:[0,0]},this.index0AttributeName=void 0,this.uniformsNeedUpdate=!1,this.glslVersion=null,e!==void 0&&this.setValues(e)}copy(e){return super.copy(e),this.fragmentShader=e.fragmentShader,this.vertexShader=e.vertexShader,this.uniforms=mr(e.uniforms),this.uniformsGroups=wS(e.uniformsGroups),this.defines=Object.assign({},e.defines),this.wireframe=e.wireframe,this.wireframeLinewidth=e.wireframeLinewidth,this.fog=e.fog,this.lights=e.lights,this.clipping=e.clipping,this.extensions=Object.assign({},e.extensions),this.glslVersion=e.glslVersion,this.defaultAttributeValues=Object.assign({},e.defaultAttributeValues),this.index0AttributeName=e.index0AttributeName,this.uniformsNeedUpdate=e.uniformsNeedUpdate,this}toJSON(e){let t=super.toJSON(e);t.glslVersion=this.glslVersion,t.uniforms={};for(let s in this.uniforms){let o=this.uniforms[s].value;o&&o.isTexture?t.uniforms[s]={type:"t",value:o.toJSON(e).uuid}:o&&o.isColor?t.uniforms[s]={type:"c",value:o.getHex()}:o&&o.isVector2?t.uniforms[s]={type:"v2",value:o.toArray()}:o&&o.isVector3?t.uniforms[s]={type:"v3",value:o.toArray()}:o&&o.isVector4?t.uniforms[s]={type:"v4",value:o.toArray()}:o&&o.isMatrix3?t.uniforms[s]={type:"m3",value:o.toArray()}:o&&o.isMatrix4?t.uniforms[s]={type:"m4",value:o.toArray()}:t.uniforms[s]={value:o}}Object.keys(this.defines).length>0&&(t.defines=this.defines),t.vertexShader=this.vertexShader,t.fragmentShader=this.fragmentShader,t.lights=this.lights,t.clipping=this.clipping;let n={};for(let s in this.extensions)this.extensions[s]===!0&&(n[s]=!0);return Object.keys(n).length>0&&(t.extensions=n),t}fromJSON(e,t){if(super.fromJSON(e,t),e.uniforms!==void 0)for(let n in e.uniforms){let s=e.uniforms[n];switch(this.uniforms[n]={},s.type){case"t":this.uniforms[n].value=t[s.value]||null;break;case"c":this.uniforms[n].value=new je().setHex(s.value);break;case"v2":this.uniforms[n].value=new He().fromArray(s.value);break;case"v3":this.uniforms[n].value=new U().fromArray(s.value);break;case"v4":this.uniforms[n].value=new Et().fromArray(s.value);break;case"m3":this.uniforms[n].value=new tt().fromArray(s.value);break;case"m4":this.uniforms[n].value=new Dt().fromArray(s.value);break;default:this.uniforms[n].value=s.value}}if(e.defines!==void 0&&(this.defines=e.defines),e.vertexShader!==void 0&&(this.vertexShader=e.vertexShader),e.fragmentShader!==void 0&&(this.fragmentShader=e.fragmentShader),e.glslVersion!==void 0&&(this.glslVersion=e.glslVersion),e.extensions!==void 0)for(let n in e.extensions)this.extensions[n]=e.extensions[n];return e.lights!==void 0&&(this.lights=e.lights),e.clipping!==void 0&&(this.clipping=e.clipping),this}},Pc=class extends Zn{constructor(e){super(e),this.isRawShaderMaterial=!0,this.type="RawShaderMaterial"}};var Di=class extends vs{constructor(e){super(),this.isMeshPhongMaterial=!0,this.type="MeshPhongMaterial",this.color=new je(16777215),this.specular=new je(1118481),this.shininess=30,this.map=null,this.lightMap=null,this.lightMapIntensity=1,this.aoMap=null,this.aoMapIntensity=1,this.emissive=new je(0),this.emissiveIntensity=1,this.emissiveMap=null,this.bumpMap=null,this.bumpScale=1,this.normalMap=null,this.normalMapType=Lh,this.normalScale=new He(1,1),this.displacementMap=null,this.displacementScale=1,this.displacementBias=0,this.specularMap=null,this.alphaMap=null,this.envMap=null,this.envMapRotation=new ys,this.combine=qc,this.reflectivity=1,this.envMapIntensity=1,this.refractionRatio=.98,this.wireframe=!1,this.wireframeLinewidth=1,this.wireframeLinecap="round",this.wireframeLinejoin="round",this.flatShading=!1,this.fog=!0,this.setValues(e)}copy(e){return super.copy(e),this.color.copy(e.color),this.specular.copy(e.specular),this.shininess=e.shininess,this.map=e.map,this.lightMap=e.lightMap,this.lightMapIntensity=e.lightMapIntensity,this.aoMap=e.aoMap,this.aoMapIntensity=e.aoMapIntensity,this.emissive.copy(e.emissive),this.emissiveMap=e.emissiveMap,this.emissiveIntensity=e.emissiveIntensity,this.bumpMap=e.bumpMap,this.bumpScale=e.bumpScale,this.normalMap=e.normalMap,this.normalMapType=e.normalMapType,this.normalScale.copy(e.normalScale),this.displacementMap=e.displacementMap,this.displacementScale=e.displacementScale,this.displacementBias=e.displacementBias,this.specularMap=e.specularMap,this.alphaMap=e.alphaMap,this.envMap=e.envMap,this.envMapRotation.copy(e.envMapRotation),this.combine=e.combine,this.reflectivity=e.reflectivity,this.envMapIntensity=e.envMapIntensity,this.refractionRatio=e.refractionRatio,this.wireframe=e.wireframe,this.wireframeLinewidth=e.wireframeLinewidth,this.wireframeLinecap=e.wireframeLinecap,this.wireframeLinejoin=e.wireframeLinejoin,this.flatShading=e.flatShading,this.fog=e.fog,this}};var Ic=class extends vs{constructor(e){super(),this.isMeshDepthMaterial=!0,this.type="MeshDepthMaterial",this.depthPacking=k0,this.map=null,this.alphaMap=null,this.displacementMap=null,this.displacementScale=1,this.displacementBias=0,this.wireframe=!1,this.wireframeLinewidth=1,this.setValues(e)}copy(e){return super.copy(e),this.depthPacking=e.depthPacking,this.map=e.map,this.alphaMap=e.alphaMap,this.displacementMap=e.displacementMap,this.displacementScale=e.displacementScale,this.displacementBias=e.displacementBias,this.wireframe=e.wireframe,this.wireframeLinewidth=e.wireframeLinewidth,this}},Lc=class extends vs{constructor(e){super(),this.isMeshDistanceMaterial=!0,this.type="MeshDistanceMaterial",this.map=null,this.alphaMap=null,this.displacementMap=null,this.displacementScale=1,this.displacementBias=0,this.setValues(e)}copy(e){return super.copy(e),this.map=e.map,this.alphaMap=e.alphaMap,this.displacementMap=e.displacementMap,this.displacementScale=e.displacementScale,this.displacementBias=e.displacementBias,this}};function to(i,e){return!i||i.constructor===e?i:typeof e.BYTES_PER_ELEMENT=="number"?new e(i):Array.prototype.slice.call(i)}function Kl(i){return i!==void 0&&i.inTangents!==void 0&&i.outTangents!==void 0}var Vs=class{constructor(e,t,n,s){this.parameterPositions=e,this._cachedIndex=0,this.resultBuffer=s!==void 0?s:new t.constructor(n),this.sampleValues=t,this.valueSize=n,this.settings=null,this.DefaultSettings_={}}evaluate(e){let t=this.parameterPositions,n=this._cachedIndex,s=t[n],r=t[n-1];e:{t:{let o;n:{i:if(!(e<s)){for(let a=n+2;;){if(s===void 0){if(e<r)break i;return n=t.length,this._cachedIndex=n,this.copySampleValue_(n-1)}if(n===a)break;if(r=s,s=t[++n],e<s)break t}o=t.length;break n}if(!(e>=r)){let a=t[1];e<a&&(n=2,r=a);for(let c=n-2;;){if(r===void 0)return this._cachedIndex=0,this.copySampleValue_(0);if(n===c)break;if(s=r,r=t[--n-1],e>=r)break t}o=n,n=0;break n}break e}for(;n<o;){let a=n+o>>>1;e<t[a]?o=a:n=a+1}if(s=t[n],r=t[n-1],r===void 0)return this._cachedIndex=0,this.copySampleValue_(0);if(s===void 0)return n=t.length,this._cachedIndex=n,this.copySampleValue_(n-1)}this._cachedIndex=n,this.intervalChanged_(n,r,s)}return this.interpolate_(n,r,e,s)}getSettings_(){return this.settings||this.DefaultSettings_}copySampleValue_(e){let t=this.resultBuffer,n=this.sampleValues,s=this.valueSize,r=e*s;for(let o=0;o!==s;++o)t[o]=n[r+o];return t}interpolate_(){throw new Error("THREE.Interpolant: Call to abstract method.")}intervalChanged_(){}},Dc=class extends Vs{constructor(e,t,n,s){super(e,t,n,s),this._weightPrev=-0,this._offsetPrev=-0,this._weightNext=-0,this._offsetNext=-0,this.DefaultSettings_={endingStart:Ff,endingEnd:Ff}}intervalChanged_(e,t,n){let s=this.parameterPositions,r=e-2,o=e+1,a=s[r],c=s[o];if(a===void 0)switch(this.getSettings_().endingStart){case Of:r=e,a=2*t-n;break;case Bf:r=s.length-2,a=t+s[r]-s[r+1];break;default:r=e,a=n}if(c===void 0)switch(this.getSettings_().endingEnd){case Of:o=e,c=2*n-t;break;case Bf:o=1,c=n+s[1]-s[0];break;default:o=e-1,c=t}let l=(n-t)*.5,u=this.valueSize;this._weightPrev=l/(t-a),this._weightNext=l/(c-n),this._offsetPrev=r*u,this._offsetNext=o*u}interpolate_(e,t,n,s){let r=this.resultBuffer,o=this.sampleValues,a=this.valueSize,c=e*a,l=c-a,u=this._offsetPrev,h=this._offsetNext,f=this._weightPrev,d=this._weightNext,g=(n-t)/(s-t),v=g*g,m=v*g,p=-f*m+2*f*v-f*g,y=(1+f)*m+(-1.5-2*f)*v+(-.5+f)*g+1,T=(-1-d)*m+(1.5+d)*v+.5*g,S=d*m-d*v;for(let C=0;C!==a;++C)r[C]=p*o[u+C]+y*o[l+C]+T*o[c+C]+S*o[h+C];return r}},Nc=class extends Vs{constructor(e,t,n,s){super(e,t,n,s)}interpolate_(e,t,n,s){let r=this.resultBuffer,o=this.sampleValues,a=this.valueSize,c=e*a,l=c-a,u=(n-t)/(s-t),h=1-u;for(let f=0;f!==a;++f)r[f]=o[l+f]*h+o[c+f]*u;return r}},Uc=class extends Vs{constructor(e,t,n,s){super(e,t,n,s)}interpolate_(e){return this.copySampleValue_(e-1)}},Fc=class extends Vs{interpolate_(e,t,n,s){let r=this.resultBuffer,o=this.sampleValues,a=this.valueSize,c=e*a,l=c-a,u=this.inTangents,h=this.outTangents;if(!u||!h){let g=(n-t)/(s-t),v=1-g;for(let m=0;m!==a;++m)r[m]=o[l+m]*v+o[c+m]*g;return r}let f=a*2,d=e-1;for(let g=0;g!==a;++g){let v=o[l+g],m=o[c+g],p=d*f+g*2,y=h[p],T=h[p+1],S=e*f+g*2,C=u[S],E=u[S+1],x=CS(n,t,y,C,s);r[g]=j0(x,v,T,E,m)}return r}};function j0(i,e,t,n,s){let r=1-i;return r*r*r*e+3*r*r*i*t+3*r*i*i*n+i*i*i*s}function TS(i,e,t,n,s){let r=1-i;return 3*r*r*(t-e)+6*r*i*(n-t)+3*i*i*(s-n)}function CS(i,e,t,n,s){let r=(i-e)/(s-e);for(let o=0;o<8;o++){let a=j0(r,e,t,n,s)-i;if(Math.abs(a)<1e-10)break;let c=TS(r,e,t,n,s);if(Math.abs(c)<1e-10)break;r=Math.max(0,Math.min(1,r-a/c))}return r}var di=class{constructor(e,t,n,s){if(e===void 0)throw new Error("THREE.KeyframeTrack: track name is undefined");if(t===void 0||t.length===0)throw new Error("THREE.KeyframeTrack: no keyframes in track named "+e);this.name=e,this.times=to(t,this.TimeBufferType),this.values=to(n,this.ValueBufferType),this.setInterpolation(s||this.DefaultInterpolation)}static toJSON(e){let t=e.constructor,n;if(t.toJSON!==this.toJSON)n=t.toJSON(e);else{n={name:e.name,times:to(e.times,Array),values:to(e.values,Array)};let s=e.getInterpolation();s!==e.DefaultInterpolation&&(n.interpolation=s),Kl(e.settings)&&(n.settings={inTangents:to(e.settings.inTangents,Array),outTangents:to(e.settings.outTangents,Array)})}return n.type=e.ValueTypeName,n}InterpolantFactoryMethodDiscrete(e){return new Uc(this.times,this.values,this.getValueSize(),e)}InterpolantFactoryMethodLinear(e){return new Nc(this.times,this.values,this.getValueSize(),e)}InterpolantFactoryMethodSmooth(e){return new Dc(this.times,this.values,this.getValueSize(),e)}InterpolantFactoryMethodBezier(e){let t=new Fc(this.times,this.values,this.getValueSize(),e);return this.settings&&(t.inTangents=this.settings.inTangents,t.outTangents=this.settings.outTangents),t}setInterpolation(e){let t;switch(e){case ra:t=this.InterpolantFactoryMethodDiscrete;break;case fc:t=this.InterpolantFactoryMethodLinear;break;case tc:t=this.InterpolantFactoryMethodSmooth;break;case Uf:t=this.InterpolantFactoryMethodBezier;break}if(t===void 0){let n="unsupported interpolation for "+this.ValueTypeName+" keyframe track named "+this.name;if(this.createInterpolant===void 0)if(e!==this.DefaultInterpolation)this.setInterpolation(this.DefaultInterpolation);else throw new Error(n);return Ye("KeyframeTrack:",n),this}return this.createInterpolant=t,this}getInterpolation(){switch(this.createInterpolant){case this.InterpolantFactoryMethodDiscrete:return ra;case this.InterpolantFactoryMethodLinear:return fc;case this.InterpolantFactoryMethodSmooth:return tc;case this.InterpolantFactoryMethodBezier:return Uf}}getValueSize(){return this.values.length/this.times.length}shift(e){if(e!==0){let t=this.times;for(let n=0,s=t.length;n!==s;++n)t[n]+=e;Kl(this.settings)&&(l0(this.settings.inTangents,e),l0(this.settings.outTangents,e))}return this}scale(e){if(e!==1){let t=this.times;for(let n=0,s=t.length;n!==s;++n)t[n]*=e;Kl(this.settings)&&(c0(this.settings.inTangents,e),c0(this.settings.outTangents,e))}return this}trim(e,t){let n=this.times,s=n.length,r=0,o=s-1;for(;r!==s&&n[r]<e;)++r;for(;o!==-1&&n[o]>t;)--o;if(++o,r!==0||o!==s){r>=o&&(o=Math.max(o,1),r=o-1);let a=this.getValueSize();this.times=n.slice(r,o),this.values=this.values.slice(r*a,o*a)}return this}validate(){let e=!0,t=this.getValueSize();t-Math.floor(t)!==0&&(et("KeyframeTrack: Invalid value size in track.",this),e=!1);let n=this.times,s=this.values,r=n.length;r===0&&(et("KeyframeTrack: Track is empty.",this),e=!1);let o=null;for(let a=0;a!==r;a++){let c=n[a];if(typeof c=="number"&&isNaN(c)){et("KeyframeTrack: Time is not a valid number.",this,a,c),e=!1;break}if(o!==null&&o>c){et("KeyframeTrack: Out of order keys.",this,a,c,o),e=!1;break}o=c}if(s!==void 0&&Fv(s))for(let a=0,c=s.length;a!==c;++a){let l=s[a];if(isNaN(l)){et("KeyframeTrack: Value is not a valid number.",this,a,l),e=!1;break}}return e}optimize(){let e=this.times.slice(),t=this.values.slice(),n=this.getValueSize(),s=this.getInterpolation()===tc,r=e.length-1,o=1;for(let a=1;a<r;++a){let c=!1,l=e[a],u=e[a+1];if(l!==u&&(a!==1||l!==e[0]))if(s)c=!0;else{let h=a*n,f=h-n,d=h+n;for(let g=0;g!==n;++g){let v=t[h+g];if(v!==t[f+g]||v!==t[d+g]){c=!0;break}}}if(c){if(a!==o){e[o]=e[a];let h=a*n,f=o*n;for(let d=0;d!==n;++d)t[f+d]=t[h+d]}++o}}if(r>0){e[o]=e[r];for(let a=r*n,c=o*n,l=0;l!==n;++l)t[c+l]=t[a+l];++o}return o!==e.length?(this.times=e.slice(0,o),this.values=t.slice(0,o*n)):(this.times=e,this.values=t),this}clone(){let e=this.times.slice(),t=this.values.slice(),n=this.constructor,s=new n(this.name,e,t);return s.createInterpolant=this.createInterpolant,Kl(this.settings)&&(s.settings={inTangents:this.settings.inTangents.slice(),outTangents:this.settings.outTangents.slice()}),s}};function l0(i,e){for(let t=0,n=i.length;t!==n;t+=2)i[t]+=e}function c0(i,e){for(let t=0,n=i.length;t!==n;t+=2)i[t]*=e}di.prototype.ValueTypeName="";di.prototype.TimeBufferType=Float32Array;di.prototype.ValueBufferType=Float32Array;di.prototype.DefaultInterpolation=fc;var Gs=class extends di{constructor(e,t,n){super(e,t,n)}};Gs.prototype.ValueTypeName="bool";Gs.prototype.ValueBufferType=Array;Gs.prototype.DefaultInterpolation=ra;Gs.prototype.InterpolantFactoryMethodLinear=void 0;Gs.prototype.InterpolantFactoryMethodSmooth=void 0;var Oc=class extends di{constructor(e,t,n,s){super(e,t,n,s)}};Oc.prototype.ValueTypeName="color";var Bc=class extends di{constructor(e,t,n,s){super(e,t,n,s)}};Bc.prototype.ValueTypeName="number";var kc=class extends Vs{constructor(e,t,n,s){super(e,t,n,s)}interpolate_(e,t,n,s){let r=this.resultBuffer,o=this.sampleValues,a=this.valueSize,c=(n-t)/(s-t),l=e*a;for(let u=l+a;l!==u;l+=4)Zi.slerpFlat(r,0,o,l-a,o,l,c);return r}},Ta=class extends di{constructor(e,t,n,s){super(e,t,n,s)}InterpolantFactoryMethodLinear(e){return new kc(this.times,this.values,this.getValueSize(),e)}};Ta.prototype.ValueTypeName="quaternion";Ta.prototype.InterpolantFactoryMethodSmooth=void 0;var Hs=class extends di{constructor(e,t,n){super(e,t,n)}};Hs.prototype.ValueTypeName="string";Hs.prototype.ValueBufferType=Array;Hs.prototype.DefaultInterpolation=ra;Hs.prototype.InterpolantFactoryMethodLinear=void 0;Hs.prototype.InterpolantFactoryMethodSmooth=void 0;var zc=class extends di{constructor(e,t,n,s){super(e,t,n,s)}};zc.prototype.ValueTypeName="vector";var Vc=class{constructor(e,t,n){let s=this,r=!1,o=0,a=0,c,l=[];this.onStart=void 0,this.onLoad=e,this.onProgress=t,this.onError=n,this._abortController=null,this.itemStart=function(u){a++,r===!1&&s.onStart!==void 0&&s.onStart(u,o,a),r=!0},this.itemEnd=function(u){o++,s.onProgress!==void 0&&s.onProgress(u,o,a),o===a&&(r=!1,s.onLoad!==void 0&&s.onLoad())},this.itemError=function(u){s.onError!==void 0&&s.onError(u)},this.resolveURL=function(u){return u=u.normalize("NFC"),c?c(u):u},this.setURLModifier=function(u){return c=u,this},this.addHandler=function(u,h){return l.push(u,h),this},this.removeHandler=function(u){let h=l.indexOf(u);return h!==-1&&l.splice(h,2),this},this.getHandler=function(u){for(let h=0,f=l.length;h<f;h+=2){let d=l[h],g=l[h+1];if(d.global&&(d.lastIndex=0),d.test(u))return g}return null},this.abort=function(){return this.abortController.abort(),this._abortController=null,this}}get abortController(){return this._abortController||(this._abortController=new AbortController),this._abortController}},Q0=new Vc,Gc=class{constructor(e){this.manager=e!==void 0?e:Q0,this.crossOrigin="anonymous",this.withCredentials=!1,this.path="",this.resourcePath="",this.requestHeader={},this.priority="auto",this.cache="default",typeof __THREE_DEVTOOLS__<"u"&&__THREE_DEVTOOLS__.dispatchEvent(new CustomEvent("observe",{detail:this}))}load(){}loadAsync(e,t){let n=this;return new Promise(function(s,r){n.load(e,s,t,r)})}parse(){}setCrossOrigin(e){return this.crossOrigin=e,this}setWithCredentials(e){return this.withCredentials=e,this}setPath(e){return this.path=e,this}setResourcePath(e){return this.resourcePath=e,this}setRequestHeader(e){return this.requestHeader=e,this}setPriority(e){return this.priority=e,this}setCache(e){return this.cache=e,this}abort(){return this}};Gc.DEFAULT_MATERIAL_NAME="__DEFAULT";var Ca=class extends In{static registerNode(e){this.prototype._lightNode=e}constructor(e,t=1){super(),this.isLight=!0,this.type="Light",this.color=new je(e),this.intensity=t}copy(e,t){return super.copy(e,t),this.color.copy(e.color),this.intensity=e.intensity,this}toJSON(e){let t=super.toJSON(e);return t.object.color=this.color.getHex(),t.object.intensity=this.intensity,t}},Ra=class extends Ca{constructor(e,t,n){super(e,n),this.isHemisphereLight=!0,this.type="HemisphereLight",this.position.copy(In.DEFAULT_UP),this.updateMatrix(),this.groundColor=new je(t)}copy(e,t){return super.copy(e,t),this.groundColor.copy(e.groundColor),this}toJSON(e){let t=super.toJSON(e);return t.object.groundColor=this.groundColor.getHex(),t}},Df=new Dt,h0=new U,u0=new U,Hc=class{constructor(e){this.camera=e,this.intensity=1,this.bias=0,this.biasNode=null,this.normalBias=0,this.radius=1,this.blurSamples=8,this.mapSize=new He(512,512),this.mapType=jn,this.map=null,this.mapPass=null,this.matrix=new Dt,this.autoUpdate=!0,this.needsUpdate=!1,this._frustum=new ks,this._frameExtents=new He(1,1),this._viewportCount=1,this._viewports=[new Et(0,0,1,1)]}getViewportCount(){return this._viewportCount}getCamera(){return this.camera}getFrustum(){return this._frustum}updateMatrices(e){let t=this.camera;h0.setFromMatrixPosition(e.matrixWorld),t.position.copy(h0),u0.setFromMatrixPosition(e.target.matrixWorld),t.lookAt(u0),t.updateMatrixWorld(),this._updateMatrix(t,this.matrix,this._frustum)}_updateMatrix(e,t,n,s){Df.multiplyMatrices(e.projectionMatrix,e.matrixWorldInverse),n.setFromProjectionMatrix(Df,e.coordinateSystem,e.reversedDepth);let r=this._frameExtents,o=s?s.z/r.x:1,a=s?s.w/r.y:1,c=s?s.x/r.x:0,l=s?s.y/r.y:0;e.coordinateSystem===co||e.reversedDepth?t.set(.5*o,0,0,.5*o+c,0,.5*a,0,.5*a+l,0,0,1,0,0,0,0,1):t.set(.5*o,0,0,.5*o+c,0,.5*a,0,.5*a+l,0,0,.5,.5,0,0,0,1),t.multiply(Df)}getViewport(e){return this._viewports[e]}getFrameExtents(){return this._frameExtents}dispose(){this.map&&this.map.dispose(),this.mapPass&&this.mapPass.dispose()}copy(e){return this.camera=e.camera.clone(),this.intensity=e.intensity,this.bias=e.bias,this.radius=e.radius,this.autoUpdate=e.autoUpdate,this.needsUpdate=e.needsUpdate,this.normalBias=e.normalBias,this.blurSamples=e.blurSamples,this.mapSize.copy(e.mapSize),this.mapType=e.mapType,this.biasNode=e.biasNode,this}clone(){return new this.constructor().copy(this)}toJSON(){let e={};return e.intensity=this.intensity,e.bias=this.bias,e.normalBias=this.normalBias,e.radius=this.radius,e.blurSamples=this.blurSamples,e.mapSize=this.mapSize.toArray(),e.mapType=this.mapType,e.camera=this.camera.toJSON(!1).object,delete e.camera.matrix,e}},jl=new U,Ql=new Zi,qi=new U,Pa=class extends In{constructor(){super(),this.isCamera=!0,this.type="Camera",this.matrixWorldInverse=new Dt,this.projectionMatrix=new Dt,this.projectionMatrixInverse=new Dt,this.coordinateSystem=yi,this._reversedDepth=!1}get reversedDepth(){return this._reversedDepth}copy(e,t){return super.copy(e,t),this.matrixWorldInverse.copy(e.matrixWorldInverse),this.projectionMatrix.copy(e.projectionMatrix),this.projectionMatrixInverse.copy(e.projectionMatrixInverse),this.coordinateSystem=e.coordinateSystem,this}getWorldDirection(e){return super.getWorldDirection(e).negate()}updateMatrixWorld(e){super.updateMatrixWorld(e),this.matrixWorld.decompose(jl,Ql,qi),qi.x===1&&qi.y===1&&qi.z===1?this.matrixWorldInverse.copy(this.matrixWorld).invert():this.matrixWorldInverse.compose(jl,Ql,qi.set(1,1,1)).invert()}updateWorldMatrix(e,t,n=!1){super.updateWorldMatrix(e,t,n),this.matrixWorld.decompose(jl,Ql,qi),qi.x===1&&qi.y===1&&qi.z===1?this.matrixWorldInverse.copy(this.matrixWorld).invert():this.matrixWorldInverse.compose(jl,Ql,qi.set(1,1,1)).invert()}clone(){return new this.constructor().copy(this)}},Bs=new U,f0=new He,d0=new He,Yn=class extends Pa{constructor(e=50,t=1,n=.1,s=2e3){super(),this.isPerspectiveCamera=!0,this.type="PerspectiveCamera",this.fov=e,this.zoom=1,this.near=n,this.far=s,this.focus=10,this.aspect=t,this.view=null,this.filmGauge=35,this.filmOffset=0,this.updateProjectionMatrix()}copy(e,t){return super.copy(e,t),this.fov=e.fov,this.zoom=e.zoom,this.near=e.near,this.far=e.far,this.focus=e.focus,this.aspect=e.aspect,this.view=e.view===null?null:Object.assign({},e.view),this.filmGauge=e.filmGauge,this.filmOffset=e.filmOffset,this}setFocalLength(e){let t=.5*this.getFilmHeight()/e;this.fov=uo*2*Math.atan(t),this.updateProjectionMatrix()}getFocalLength(){let e=Math.tan(oo*.5*this.fov);return .5*this.getFilmHeight()/e}getEffectiveFOV(){return uo*2*Math.atan(Math.tan(oo*.5*this.fov)/this.zoom)}getFilmWidth(){return this.filmGauge*Math.min(this.aspect,1)}getFilmHeight(){return this.filmGauge/Math.max(this.aspect,1)}getViewBounds(e,t,n){Bs.set(-1,-1,.5).applyMatrix4(this.projectionMatrixInverse),t.set(Bs.x,Bs.y).multiplyScalar(-e/Bs.z),Bs.set(1,1,.5).applyMatrix4(this.projectionMatrixInverse),n.set(Bs.x,Bs.y).multiplyScalar(-e/Bs.z)}getViewSize(e,t){return this.getViewBounds(e,f0,d0),t.subVectors(d0,f0)}setViewOffset(e,t,n,s,r,o){this.aspect=e/t,this.view===null&&(this.view={enabled:!0,fullWidth:1,fullHeight:1,offsetX:0,offsetY:0,width:1,height:1}),this.view.enabled=!0,this.view.fullWidth=e,this.view.fullHeight=t,this.view.offsetX=n,this.view.offsetY=s,this.view.width=r,this.view.height=o,this.updateProjectionMatrix()}clearViewOffset(){this.view!==null&&(this.view.enabled=!1),this.updateProjectionMatrix()}updateProjectionMatrix(){let e=this.near,t=e*Math.tan(oo*.5*this.fov)/this.zoom,n=2*t,s=this.aspect*n,r=-.5*s,o=this.view;if(this.view!==null&&this.view.enabled){let c=o.fullWidth,l=o.fullHeight;r+=o.offsetX*s/c,t-=o.offsetY*n/l,s*=o.width/c,n*=o.height/l}let a=this.filmOffset;a!==0&&(r+=e*a/this.getFilmWidth()),this.projectionMatrix.makePerspective(r,r+s,t,t-n,e,this.far,this.coordinateSystem,this.reversedDepth),this.projectionMatrixInverse.copy(this.projectionMatrix).invert()}toJSON(e){let t=super.toJSON(e);return t.object.fov=this.fov,t.object.zoom=this.zoom,t.object.near=this.near,t.object.far=this.far,t.object.focus=this.focus,t.object.aspect=this.aspect,this.view!==null&&(t.object.view=Object.assign({},this.view)),t.object.filmGauge=this.filmGauge,t.object.filmOffset=this.filmOffset,t}};var Ia=class extends Pa{constructor(e=-1,t=1,n=1,s=-1,r=.1,o=2e3){super(),this.isOrthographicCamera=!0,this.type="OrthographicCamera",this.zoom=1,this.view=null,this.left=e,this.right=t,this.top=n,this.bottom=s,this.near=r,this.far=o,this.updateProjectionMatrix()}copy(e,t){return super.copy(e,t),this.left=e.left,this.right=e.right,this.top=e.top,this.bottom=e.bottom,this.near=e.near,this.far=e.far,this.zoom=e.zoom,this.view=e.view===null?null:Object.assign({},e.view),this}setViewOffset(e,t,n,s,r,o){this.view===null&&(this.view={enabled:!0,fullWidth:1,fullHeight:1,offsetX:0,offsetY:0,width:1,height:1}),this.view.enabled=!0,this.view.fullWidth=e,this.view.fullHeight=t,this.view.offsetX=n,this.view.offsetY=s,this.view.width=r,this.view.height=o,this.updateProjectionMatrix()}clearViewOffset(){this.view!==null&&(this.view.enabled=!1),this.updateProjectionMatrix()}updateProjectionMatrix(){let e=(this.right-this.left)/(2*this.zoom),t=(this.top-this.bottom)/(2*this.zoom),n=(this.right+this.left)/2,s=(this.top+this.bottom)/2,r=n-e,o=n+e,a=s+t,c=s-t;if(this.view!==null&&this.view.enabled){let l=(this.right-this.left)/this.view.fullWidth/this.zoom,u=(this.top-this.bottom)/this.view.fullHeight/this.zoom;r+=l*this.view.offsetX,o=r+l*this.view.width,a-=u*this.view.offsetY,c=a-u*this.view.height}this.projectionMatrix.makeOrthographic(r,o,a,c,this.near,this.far,this.coordinateSystem,this.reversedDepth),this.projectionMatrixInverse.copy(this.projectionMatrix).invert()}toJSON(e){let t=super.toJSON(e);return t.object.zoom=this.zoom,t.object.left=this.left,t.object.right=this.right,t.object.top=this.top,t.object.bottom=this.bottom,t.object.near=this.near,t.object.far=this.far,this.view!==null&&(t.object.view=Object.assign({},this.view)),t}},kf=class extends Hc{constructor(){super(new Ia(-5,5,5,-5,.5,500)),this.isDirectionalLightShadow=!0}},La=class extends Ca{constructor(e,t){super(e,t),this.isDirectionalLight=!0,this.type="DirectionalLight",this.position.copy(In.DEFAULT_UP),this.updateMatrix(),this.target=new In,this.shadow=new kf}dispose(){super.dispose(),this.shadow.dispose()}copy(e){return super.copy(e),this.target=e.target.clone(),this.shadow=e.shadow.clone(),this}toJSON(e){let t=super.toJSON(e);return t.object.shadow=this.shadow.toJSON(),t.object.target=this.target.uuid,t}};var Da=class extends Qt{constructor(){super(),this.isInstancedBufferGeometry=!0,this.type="InstancedBufferGeometry",this.instanceCount=1/0}copy(e){return super.copy(e),this.instanceCount=e.instanceCount,this}toJSON(){let e=super.toJSON();return e.instanceCount=this.instanceCount,e.isInstancedBufferGeometry=!0,e}};var no=-90,io=1,xo=class extends In{constructor(e,t,n){super(),this.type="CubeCamera",this.renderTarget=n,this.coordinateSystem=null,this.activeMipmapLevel=0;let s=new Yn(no,io,e,t);s.layers=this.layers,this.add(s);let r=new Yn(no,io,e,t);r.layers=this.layers,this.add(r);let o=new Yn(no,io,e,t);o.layers=this.layers,this.add(o);let a=new Yn(no,io,e,t);a.layers=this.layers,this.add(a);let c=new Yn(no,io,e,t);c.layers=this.layers,this.add(c);let l=new Yn(no,io,e,t);l.layers=this.layers,this.add(l)}updateCoordinateSystem(){let e=this.coordinateSystem,t=this.children.concat(),[n,s,r,o,a,c]=t;for(let l of t)this.remove(l);if(e===yi)n.up.set(0,1,0),n.lookAt(1,0,0),s.up.set(0,1,0),s.lookAt(-1,0,0),r.up.set(0,0,-1),r.lookAt(0,1,0),o.up.set(0,0,1),o.lookAt(0,-1,0),a.up.set(0,1,0),a.lookAt(0,0,1),c.up.set(0,1,0),c.lookAt(0,0,-1);else if(e===co)n.up.set(0,-1,0),n.lookAt(-1,0,0),s.up.set(0,-1,0),s.lookAt(1,0,0),r.up.set(0,0,1),r.lookAt(0,1,0),o.up.set(0,0,-1),o.lookAt(0,-1,0),a.up.set(0,-1,0),a.lookAt(0,0,1),c.up.set(0,-1,0),c.lookAt(0,0,-1);else throw new Error("THREE.CubeCamera.updateCoordinateSystem(): Invalid coordinate system: "+e);for(let l of t)this.add(l),l.updateMatrixWorld()}update(e,t){this.parent===null&&this.updateMatrixWorld();let{renderTarget:n,activeMipmapLevel:s}=this;this.coordinateSystem!==e.coordinateSystem&&(this.coordinateSystem=e.coordinateSystem,this.updateCoordinateSystem());let[r,o,a,c,l,u]=this.children,h=e.getRenderTarget(),f=e.getActiveCubeFace(),d=e.getActiveMipmapLevel(),g=e.xr.enabled;e.xr.enabled=!1;let v=n.texture.mipmapsAutoUpdate;n.texture.mipmapsAutoUpdate=!1;let m=!1;e.isWebGLRenderer===!0?m=e.state.buffers.depth.getReversed():m=e.reversedDepthBuffer,e.setRenderTarget(n,0,s),m&&e.autoClear===!1&&e.clearDepth(),e.render(t,r),e.setRenderTarget(n,1,s),m&&e.autoClear===!1&&e.clearDepth(),e.render(t,o),e.setRenderTarget(n,2,s),m&&e.autoClear===!1&&e.clearDepth(),e.render(t,a),e.setRenderTarget(n,3,s),m&&e.autoClear===!1&&e.clearDepth(),e.render(t,c),e.setRenderTarget(n,4,s),m&&e.autoClear===!1&&e.clearDepth(),e.render(t,l),n.texture.mipmapsAutoUpdate=v,e.setRenderTarget(n,5,s),m&&e.autoClear===!1&&e.clearDepth(),e.render(t,u),e.setRenderTarget(h,f,d),e.xr.enabled=g,n.texture.needsPMREMUpdate=!0}},Wc=class extends Yn{constructor(e=[]){super(),this.isArrayCamera=!0,this.isMultiViewCamera=!1,this.cameras=e,this.perCameraFrustumCulled=!1}};var Sd="\\[\\]\\.:\\/",RS=new RegExp("["+Sd+"]","g"),bd="[^"+Sd+"]",PS="[^"+Sd.replace("\\.","")+"]",IS=/((?:WC+[\/:])*)/.source.replace("WC",bd),LS=/(WCOD+)?/.source.replace("WCOD",PS),DS=/(?:\.(WC+)(?:\[(.+)\])?)?/.source.replace("WC",bd),NS=/\.(WC+)(?:\[(.+)\])?/.source.replace("WC",bd),US=new RegExp("^"+IS+LS+DS+NS+"$"),FS=["material","materials","bones","map"],zf=class{constructor(e,t,n){let s=n||Ht.parseTrackName(t);this._targetGroup=e,this._bindings=e.subscribe_(t,s)}getValue(e,t){this.bind();let n=this._targetGroup.nCachedObjects_,s=this._bindings[n];s!==void 0&&s.getValue(e,t)}setValue(e,t){let n=this._bindings;for(let s=this._targetGroup.nCachedObjects_,r=n.length;s!==r;++s)n[s].setValue(e,t)}bind(){let e=this._bindings;for(let t=this._targetGroup.nCachedObjects_,n=e.length;t!==n;++t)e[t].bind()}unbind(){let e=this._bindings;for(let t=this._targetGroup.nCachedObjects_,n=e.length;t!==n;++t)e[t].unbind()}},Ht=class i{constructor(e,t,n){this.path=t,this.parsedPath=n||i.parseTrackName(t),this.node=i.findNode(e,this.parsedPath.nodeName),this.rootNode=e,this.getValue=this._getValue_unbound,this.setValue=this._setValue_unbound}static create(e,t,n){return e&&e.isAnimationObjectGroup?new i.Composite(e,t,n):new i(e,t,n)}static sanitizeNodeName(e){return e.replace(/\s/g,"_").replace(RS,"")}static parseTrackName(e){let t=US.exec(e);if(t===null)throw new Error("THREE.PropertyBinding: Cannot parse trackName: "+e);let n={nodeName:t[2],objectName:t[3],objectIndex:t[4],propertyName:t[5],propertyIndex:t[6]},s=n.nodeName&&n.nodeName.lastIndexOf(".");if(s!==void 0&&s!==-1){let r=n.nodeName.substring(s+1);FS.indexOf(r)!==-1&&(n.nodeName=n.nodeName.substring(0,s),n.objectName=r)}if(n.propertyName===null||n.propertyName.length===0)throw new Error("THREE.PropertyBinding: can not parse propertyName from trackName: "+e);return n}static findNode(e,t){if(t===void 0||t===""||t==="."||t===-1||t===e.name||t===e.uuid)return e;if(e.skeleton){let n=e.skeleton.getBoneByName(t);if(n!==void 0)return n}if(e.children){let n=function(r){for(let o=0;o<r.length;o++){let a=r[o];if(a.name===t||a.uuid===t)return a;let c=n(a.children);if(c)return c}return null},s=n(e.children);if(s)return s}return null}_getValue_unavailable(){}_setValue_unavailable(){}_getValue_direct(e,t){e[t]=this.targetObject[this.propertyName]}_getValue_array(e,t){let n=this.resolvedProperty;for(let s=0,r=n.length;s!==r;++s)e[t++]=n[s]}_getValue_arrayElement(e,t){e[t]=this.resolvedProperty[this.propertyIndex]}_getValue_toArray(e,t){this.resolvedProperty.toArray(e,t)}_setValue_direct(e,t){this.targetObject[this.propertyName]=e[t]}_setValue_direct_setNeedsUpdate(e,t){this.targetObject[this.propertyName]=e[t],this.targetObject.needsUpdate=!0}_setValue_direct_setMatrixWorldNeedsUpdate(e,t){this.targetObject[this.propertyName]=e[t],this.targetObject.matrixWorldNeedsUpdate=!0}_setValue_array(e,t){let n=this.resolvedProperty;for(let s=0,r=n.length;s!==r;++s)n[s]=e[t++]}_setValue_array_setNeedsUpdate(e,t){let n=this.resolvedProperty;for(let s=0,r=n.length;s!==r;++s)n[s]=e[t++];this.targetObject.needsUpdate=!0}_setValue_array_setMatrixWorldNeedsUpdate(e,t){let n=this.resolvedProperty;for(let s=0,r=n.length;s!==r;++s)n[s]=e[t++];this.targetObject.matrixWorldNeedsUpdate=!0}_setValue_arrayElement(e,t){this.resolvedProperty[this.propertyIndex]=e[t]}_setValue_arrayElement_setNeedsUpdate(e,t){this.resolvedProperty[this.propertyIndex]=e[t],this.targetObject.needsUpdate=!0}_setValue_arrayElement_setMatrixWorldNeedsUpdate(e,t){this.resolvedProperty[this.propertyIndex]=e[t],this.targetObject.matrixWorldNeedsUpdate=!0}_setValue_fromArray(e,t){this.resolvedProperty.fromArray(e,t)}_setValue_fromArray_setNeedsUpdate(e,t){this.resolvedProperty.fromArray(e,t),this.targetObject.needsUpdate=!0}_setValue_fromArray_setMatrixWorldNeedsUpdate(e,t){this.resolvedProperty.fromArray(e,t),this.targetObject.matrixWorldNeedsUpdate=!0}_getValue_unbound(e,t){this.bind(),this.getValue(e,t)}_setValue_unbound(e,t){this.bind(),this.setValue(e,t)}bind(){let e=this.node,t=this.parsedPath,n=t.objectName,s=t.propertyName,r=t.propertyIndex;if(e||(e=i.findNode(this.rootNode,t.nodeName),this.node=e),this.getValue=this._getValue_unavailable,this.setValue=this._setValue_unavailable,!e){Ye("PropertyBinding: No target node found for track: "+this.path+".");return}if(n){let l=t.objectIndex;switch(n){case"materials":if(!e.material){et("PropertyBinding: Can not bind to material as node does not have a material.",this);return}if(!e.material.materials){et("PropertyBinding: Can not bind to material.materials as node.material does not have a materials array.",this);return}e=e.material.materials;break;case"bones":if(!e.skeleton){et("PropertyBinding: Can not bind to bones as node does not have a skeleton.",this);return}e=e.skeleton.bones;for(let u=0;u<e.length;u++)if(e[u].name===l){l=u;break}break;case"map":if("map"in e){e=e.map;break}if(!e.material){et("PropertyBinding: Can not bind to material as node does not have a material.",this);return}if(!e.material.map){et("PropertyBinding: Can not bind to material.map as node.material does not have a map.",this);return}e=e.material.map;break;default:if(e[n]===void 0){et("PropertyBinding: Can not bind to objectName of node undefined.",this);return}e=e[n]}if(l!==void 0){if(e[l]===void 0){et("PropertyBinding: Trying to bind to objectIndex of objectName, but is undefined.",this,e);return}e=e[l]}}let o=e[s];if(o===void 0){let l=t.nodeName;et("PropertyBinding: Trying to update property for track: "+l+"."+s+" but it wasn't found.",e);return}let a=this.Versioning.None;this.targetObject=e,e.isMaterial===!0?a=this.Versioning.NeedsUpdate:e.isObject3D===!0&&(a=this.Versioning.MatrixWorldNeedsUpdate);let c=this.BindingType.Direct;if(r!==void 0){if(s==="morphTargetInfluences"){if(!e.geometry){et("PropertyBinding: Can not bind to morphTargetInfluences because node does not have a geometry.",this);return}if(!e.geometry.morphAttributes){et("PropertyBinding: Can not bind to morphTargetInfluences because node does not have a geometry.morphAttributes.",this);return}e.morphTargetDictionary[r]!==void 0&&(r=e.morphTargetDictionary[r])}c=this.BindingType.ArrayElement,this.resolvedProperty=o,this.propertyIndex=r}else o.fromArray!==void 0&&o.toArray!==void 0?(c=this.BindingType.HasFromToArray,this.resolvedProperty=o):Array.isArray(o)?(c=this.BindingType.EntireArray,this.resolvedProperty=o):this.propertyName=s;this.getValue=this.GetterByBindingType[c],this.setValue=this.SetterByBindingTypeAndVersioning[c][a]}unbind(){this.node=null,this.getValue=this._getValue_unbound,this.setValue=this._setValue_unbound}};Ht.Composite=zf;Ht.prototype.BindingType={Direct:0,EntireArray:1,ArrayElement:2,HasFromToArray:3};Ht.prototype.Versioning={None:0,NeedsUpdate:1,MatrixWorldNeedsUpdate:2};Ht.prototype.GetterByBindingType=[Ht.prototype._getValue_direct,Ht.prototype._getValue_array,Ht.prototype._getValue_arrayElement,Ht.prototype._getValue_toArray];Ht.prototype.SetterByBindingTypeAndVersioning=[[Ht.prototype._setValue_direct,Ht.prototype._setValue_direct_setNeedsUpdate,Ht.prototype._setValue_direct_setMatrixWorldNeedsUpdate],[Ht.prototype._setValue_array,Ht.prototype._setValue_array_setNeedsUpdate,Ht.prototype._setValue_array_setMatrixWorldNeedsUpdate],[Ht.prototype._setValue_arrayElement,Ht.prototype._setValue_arrayElement_setNeedsUpdate,Ht.prototype._setValue_arrayElement_setMatrixWorldNeedsUpdate],[Ht.prototype._setValue_fromArray,Ht.prototype._setValue_fromArray_setNeedsUpdate,Ht.prototype._setValue_fromArray_setMatrixWorldNeedsUpdate]];var ZE=new Float32Array(1);var Ws=class extends gc{constructor(e,t,n=1){super(e,t),this.isInstancedInterleavedBuffer=!0,this.meshPerAttribute=n}copy(e){return super.copy(e),this.meshPerAttribute=e.meshPerAttribute,this}clone(e){let t=super.clone(e);return t.meshPerAttribute=this.meshPerAttribute,t}toJSON(e){let t=super.toJSON(e);return t.isInstancedInterleavedBuffer=!0,t.meshPerAttribute=this.meshPerAttribute,t}};var Cd=class Cd{constructor(e,t,n,s){this.elements=[1,0,0,1],e!==void 0&&this.set(e,t,n,s)}identity(){return this.set(1,0,0,1),this}fromArray(e,t=0){for(let n=0;n<4;n++)this.elements[n]=e[n+t];return this}set(e,t,n,s){let r=this.elements;return r[0]=e,r[2]=t,r[1]=n,r[3]=s,this}};Cd.prototype.isMatrix2=!0;var Vf=Cd;var p0=new U,ec=new U,so=new U,ro=new U,Nf=new U,OS=new U,BS=new U,Na=class{constructor(e=new U,t=new U){this.start=e,this.end=t}set(e,t){return this.start.copy(e),this.end.copy(t),this}copy(e){return this.start.copy(e.start),this.end.copy(e.end),this}getCenter(e){return e.addVectors(this.start,this.end).multiplyScalar(.5)}delta(e){return e.subVectors(this.end,this.start)}distanceSq(){return this.start.distanceToSquared(this.end)}distance(){return this.start.distanceTo(this.end)}at(e,t){return this.delta(t).multiplyScalar(e).add(this.start)}closestPointToPointParameter(e,t){p0.subVectors(e,this.start),ec.subVectors(this.end,this.start);let n=ec.dot(ec);if(n===0)return 0;let r=ec.dot(p0)/n;return t&&(r=ot(r,0,1)),r}closestPointToPoint(e,t,n){let s=this.closestPointToPointParameter(e,t);return this.delta(n).multiplyScalar(s).add(this.start)}distanceSqToLine3(e,t=OS,n=BS){let s=10000000000000001e-32,r,o,a=this.start,c=e.start,l=this.end,u=e.end;so.subVectors(l,a),ro.subVectors(u,c),Nf.subVectors(a,c);let h=so.dot(so),f=ro.dot(ro),d=ro.dot(Nf);if(h<=s&&f<=s)return t.copy(a),n.copy(c),t.distanceToSquared(n);if(h<=s)r=0,o=d/f,o=ot(o,0,1);else{let g=so.dot(Nf);if(f<=s)o=0,r=ot(-g/h,0,1);else{let v=so.dot(ro),m=h*f-v*v;m!==0?r=ot((v*d-g*f)/m,0,1):r=0,o=(v*r+d)/f,o<0?(o=0,r=ot(-g/h,0,1)):o>1&&(o=1,r=ot((v-g)/h,0,1))}}return t.copy(a).addScaledVector(so,r),n.copy(c).addScaledVector(ro,o),t.distanceToSquared(n)}applyMatrix4(e){return this.start.applyMatrix4(e),this.end.applyMatrix4(e),this}equals(e){return e.start.equals(this.start)&&e.end.equals(this.end)}clone(){return new this.constructor().copy(this)}};var Ua=class extends mo{constructor(e=10,t=10,n=4473924,s=8947848){n=new je(n),s=new je(s);let r=t/2,o=e/t,a=e/2,c=[],l=[];for(let f=0,d=0,g=-a;f<=t;f++,g+=o){c.push(-a,0,g,a,0,g),c.push(g,0,-a,g,0,a);let v=f===r?n:s;v.toArray(l,d),d+=3,v.toArray(l,d),d+=3,v.toArray(l,d),d+=3,v.toArray(l,d),d+=3}let u=new Qt;u.setAttribute("position",new mt(c,3)),u.setAttribute("color",new mt(l,3));let h=new hr({vertexColors:!0,toneMapped:!1});super(u,h),this.type="GridHelper"}dispose(){super.dispose(),this.geometry.dispose(),this.material.dispose()}};function Md(i,e,t,n){let s=kS(n);switch(t){case od:return i*e;case ld:return i*e/s.components*s.byteLength;case Qc:return i*e/s.components*s.byteLength;case qs:return i*e*2/s.components*s.byteLength;case eh:return i*e*2/s.components*s.byteLength;case ad:return i*e*3/s.components*s.byteLength;case Oi:return i*e*4/s.components*s.byteLength;case th:return i*e*4/s.components*s.byteLength;case Ba:case ka:return Math.floor((i+3)/4)*Math.floor((e+3)/4)*8;case za:case Va:return Math.floor((i+3)/4)*Math.floor((e+3)/4)*16;case ih:case rh:return Math.max(i,16)*Math.max(e,8)/4;case nh:case sh:return Math.max(i,8)*Math.max(e,8)/2;case oh:case ah:case ch:case hh:return Math.floor((i+3)/4)*Math.floor((e+3)/4)*8;case lh:case Ga:case uh:return Math.floor((i+3)/4)*Math.floor((e+3)/4)*16;case fh:return Math.floor((i+3)/4)*Math.floor((e+3)/4)*16;case dh:return Math.floor((i+4)/5)*Math.floor((e+3)/4)*16;case ph:return Math.floor((i+4)/5)*Math.floor((e+4)/5)*16;case mh:return Math.floor((i+5)/6)*Math.floor((e+4)/5)*16;case gh:return Math.floor((i+5)/6)*Math.floor((e+5)/6)*16;case _h:return Math.floor((i+7)/8)*Math.floor((e+4)/5)*16;case xh:return Math.floor((i+7)/8)*Math.floor((e+5)/6)*16;case yh:return Math.floor((i+7)/8)*Math.floor((e+7)/8)*16;case vh:return Math.floor((i+9)/10)*Math.floor((e+4)/5)*16;case Sh:return Math.floor((i+9)/10)*Math.floor((e+5)/6)*16;case bh:return Math.floor((i+9)/10)*Math.floor((e+7)/8)*16;case Mh:return Math.floor((i+9)/10)*Math.floor((e+9)/10)*16;case wh:return Math.floor((i+11)/12)*Math.floor((e+9)/10)*16;case Ah:return Math.floor((i+11)/12)*Math.floor((e+11)/12)*16;case Eh:case Th:case Ch:return Math.ceil(i/4)*Math.ceil(e/4)*16;case Rh:case Ph:return Math.ceil(i/4)*Math.ceil(e/4)*8;case Ha:case Ih:return Math.ceil(i/4)*Math.ceil(e/4)*16}throw new Error(`Unable to determine texture byte length for ${t} format.`)}function kS(i){switch(i){case jn:case nd:return{byteLength:1,components:1};case bo:case id:case Fi:return{byteLength:2,components:1};case Kc:case jc:return{byteLength:2,components:4};case Ni:case Jc:case Ui:return{byteLength:4,components:1};case sd:case rd:return{byteLength:4,components:3}}throw new Error(`THREE.TextureUtils: Unknown texture type ${i}.`)}typeof __THREE_DEVTOOLS__<"u"&&__THREE_DEVTOOLS__.dispatchEvent(new CustomEvent("register",{detail:{revision:"187"}}));typeof window<"u"&&(window.__THREE__?Ye("WARNING: Multiple instances of Three.js being imported."):window.__THREE__="187");/**
 * @license
 * Copyright 2010-2026 Three.js Authors
 * SPDX-License-Identifier: MIT
 */function S_(){let i=null,e=!1,t=null,n=null;function s(r,o){n=i.requestAnimationFrame(s),t(r,o)}return{start:function(){e!==!0&&t!==null&&i!==null&&(n=i.requestAnimationFrame(s),e=!0)},stop:function(){i!==null&&i.cancelAnimationFrame(n),e=!1},setAnimationLoop:function(r){t=r},setContext:function(r){i=r}}}function VS(i){let e=new WeakMap;function t(a,c){let l=a.array,u=a.usage,h=l.byteLength,f=i.createBuffer();i.bindBuffer(c,f),i.bufferData(c,l,u),a.onUploadCallback();let d;if(l instanceof Float32Array)d=i.FLOAT;else if(typeof Float16Array<"u"&&l instanceof Float16Array)d=i.HALF_FLOAT;else if(l instanceof Uint16Array)a.isFloat16BufferAttribute?d=i.HALF_FLOAT:d=i.UNSIGNED_SHORT;else if(l instanceof Int16Array)d=i.SHORT;else if(l instanceof Uint32Array)d=i.UNSIGNED_INT;else if(l instanceof Int32Array)d=i.INT;else if(l instanceof Int8Array)d=i.BYTE;else if(l instanceof Uint8Array)d=i.UNSIGNED_BYTE;else if(l instanceof Uint8ClampedArray)d=i.UNSIGNED_BYTE;else throw new Error("THREE.WebGLAttributes: Unsupported buffer data format: "+l);return{buffer:f,type:d,bytesPerElement:l.BYTES_PER_ELEMENT,version:a.version,size:h}}function n(a,c,l){let u=c.array,h=c.updateRanges;if(i.bindBuffer(l,a),h.length===0)i.bufferSubData(l,0,u);else{h.sort((d,g)=>d.start-g.start);let f=0;for(let d=1;d<h.length;d++){let g=h[f],v=h[d];v.start<=g.start+g.count+1?g.count=Math.max(g.count,v.start+v.count-g.start):(++f,h[f]=v)}h.length=f+1;for(let d=0,g=h.length;d<g;d++){let v=h[d];i.bufferSubData(l,v.start*u.BYTES_PER_ELEMENT,u,v.start,v.count)}c.clearUpdateRanges()}c.onUploadCallback()}function s(a){return a.isInterleavedBufferAttribute&&(a=a.data),e.get(a)}function r(a){a.isInterleavedBufferAttribute&&(a=a.data);let c=e.get(a);c&&(i.deleteBuffer(c.buffer),e.delete(a))}function o(a,c){if(a.isInterleavedBufferAttribute&&(a=a.data),a.isGLBufferAttribute){let u=e.get(a);(!u||u.version<a.version)&&e.set(a,{buffer:a.buffer,type:a.type,bytesPerElement:a.elementSize,version:a.version});return}let l=e.get(a);if(l===void 0)e.set(a,t(a,c));else if(l.version<a.version){if(l.size!==a.array.byteLength)throw new Error("THREE.WebGLAttributes: The size of the buffer attribute's array buffer does not match the original size. Resizing buffer attributes is not supported.");n(l.buffer,a,c),l.version=a.version}}return{get:s,remove:r,update:o}}var GS=`#ifdef USE_ALPHAHASH
	if ( diffuseColor.a < getAlphaHashThreshold( vPosition ) ) discard;
#endif`,HS=`#ifdef USE_ALPHAHASH
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
#endif`,WS=`#ifdef USE_ALPHAMAP
	diffuseColor.a *= texture2D( alphaMap, vAlphaMapUv ).g;
#endif`,XS=`#ifdef USE_ALPHAMAP
	uniform sampler2D alphaMap;
#endif`,qS=`#ifdef USE_ALPHATEST
	#ifdef ALPHA_TO_COVERAGE
	diffuseColor.a = smoothstep( alphaTest, alphaTest + fwidth( diffuseColor.a ), diffuseColor.a );
	if ( diffuseColor.a == 0.0 ) discard;
	#else
	if ( diffuseColor.a < alphaTest ) discard;
	#endif
#endif`,YS=`#ifdef USE_ALPHATEST
	uniform float alphaTest;
#endif`,$S=`#ifdef USE_AOMAP
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
#endif`,ZS=`#ifdef USE_AOMAP
	uniform sampler2D aoMap;
	uniform float aoMapIntensity;
#endif`,JS=`#ifdef USE_BATCHING
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
#endif`,KS=`#ifdef USE_BATCHING
	mat4 batchingMatrix = getBatchingMatrix( getIndirectIndex( gl_DrawID ) );
#endif`,jS=`vec3 transformed = vec3( position );
#ifdef USE_ALPHAHASH
	vPosition = vec3( position );
#endif`,QS=`vec3 objectNormal = vec3( normal );
#ifdef USE_TANGENT
	vec3 objectTangent = vec3( tangent.xyz );
#endif`,eb=`float G_BlinnPhong_Implicit( ) {
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
} // validated`,tb=`#ifdef USE_IRIDESCENCE
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
#endif`,nb=`#ifdef USE_BUMPMAP
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
#endif`,ib=`#if NUM_CLIPPING_PLANES > 0
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
#endif`,sb=`#if NUM_CLIPPING_PLANES > 0
	varying vec3 vClipPosition;
	uniform vec4 clippingPlanes[ NUM_CLIPPING_PLANES ];
#endif`,rb=`#if NUM_CLIPPING_PLANES > 0
	varying vec3 vClipPosition;
#endif`,ob=`#if NUM_CLIPPING_PLANES > 0
	vClipPosition = - mvPosition.xyz;
#endif`,ab=`#if defined( USE_COLOR ) || defined( USE_COLOR_ALPHA )
	diffuseColor *= vColor;
#endif`,lb=`#if defined( USE_COLOR ) || defined( USE_COLOR_ALPHA )
	varying vec4 vColor;
#endif`,cb=`#if defined( USE_COLOR ) || defined( USE_COLOR_ALPHA ) || defined( USE_INSTANCING_COLOR ) || defined( USE_BATCHING_COLOR )
	varying vec4 vColor;
#endif`,hb=`#if defined( USE_COLOR ) || defined( USE_COLOR_ALPHA ) || defined( USE_INSTANCING_COLOR ) || defined( USE_BATCHING_COLOR )
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
#endif`,ub=`#define PI 3.141592653589793
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
} // validated`,fb=`vec3 transformedNormal = objectNormal;
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
#endif`,db=`#ifdef USE_DISPLACEMENTMAP
	uniform sampler2D displacementMap;
	uniform float displacementScale;
	uniform float displacementBias;
#endif`,pb=`#ifdef USE_DISPLACEMENTMAP
	transformed += normalize( objectNormal ) * ( texture2D( displacementMap, vDisplacementMapUv ).x * displacementScale + displacementBias );
#endif`,mb=`#ifdef USE_EMISSIVEMAP
	vec4 emissiveColor = texture2D( emissiveMap, vEmissiveMapUv );
	#ifdef DECODE_VIDEO_TEXTURE_EMISSIVE
		emissiveColor = sRGBTransferEOTF( emissiveColor );
	#endif
	totalEmissiveRadiance *= emissiveColor.rgb;
#endif`,gb=`#ifdef USE_EMISSIVEMAP
	uniform sampler2D emissiveMap;
#endif`,_b="gl_FragColor = linearToOutputTexel( gl_FragColor );",xb=`vec4 LinearTransferOETF( in vec4 value ) {
	return value;
}
vec4 sRGBTransferEOTF( in vec4 value ) {
	return vec4( mix( pow( value.rgb * 0.9478672986 + vec3( 0.0521327014 ), vec3( 2.4 ) ), value.rgb * 0.0773993808, vec3( lessThanEqual( value.rgb, vec3( 0.04045 ) ) ) ), value.a );
}
vec4 sRGBTransferOETF( in vec4 value ) {
	return vec4( mix( pow( value.rgb, vec3( 0.41666 ) ) * 1.055 - vec3( 0.055 ), value.rgb * 12.92, vec3( lessThanEqual( value.rgb, vec3( 0.0031308 ) ) ) ), value.a );
}`,yb=`#ifdef USE_ENVMAP
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
#endif`,vb=`#ifdef USE_ENVMAP
	uniform float envMapIntensity;
	uniform mat3 envMapRotation;
	uniform samplerCube envMap;
	#ifdef ENVMAP_TYPE_PMREM
		float roughnessToMip( const in float roughness ) {
			float r = clamp( roughness, 0.0, 1.0 );
			return ENVMAP_MAX_LOD * r * ( 2.0 - r );
		}
	#endif
#endif`,Sb=`#ifdef USE_ENVMAP
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
#endif`,bb=`#ifdef USE_ENVMAP
	#if defined( USE_BUMPMAP ) || defined( USE_NORMALMAP ) || defined( PHONG ) || defined( LAMBERT )
		#define ENV_WORLDPOS
	#endif
	#ifdef ENV_WORLDPOS
		
		varying vec3 vWorldPosition;
	#else
		varying vec3 vReflect;
		uniform float refractionRatio;
	#endif
#endif`,Mb=`#ifdef USE_ENVMAP
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
#endif`,wb=`#ifdef USE_FOG
	vFogDepth = - mvPosition.z;
#endif`,Ab=`#ifdef USE_FOG
	varying float vFogDepth;
#endif`,Eb=`#ifdef USE_FOG
	#ifdef FOG_EXP2
		float fogFactor = 1.0 - exp( - fogDensity * fogDensity * vFogDepth * vFogDepth );
	#else
		float fogFactor = smoothstep( fogNear, fogFar, vFogDepth );
	#endif
	gl_FragColor.rgb = mix( gl_FragColor.rgb, fogColor, fogFactor );
#endif`,Tb=`#ifdef USE_FOG
	uniform vec3 fogColor;
	varying float vFogDepth;
	#ifdef FOG_EXP2
		uniform float fogDensity;
	#else
		uniform float fogNear;
		uniform float fogFar;
	#endif
#endif`,Cb=`#ifdef USE_GRADIENTMAP
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
}`,Rb=`#ifdef USE_LIGHTMAP
	uniform sampler2D lightMap;
	uniform float lightMapIntensity;
#endif`,Pb=`LambertMaterial material;
material.diffuseColor = diffuseColor.rgb;
material.specularStrength = specularStrength;`,Ib=`varying vec3 vViewPosition;
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
#define RE_IndirectDiffuse		RE_IndirectDiffuse_Lambert`,Lb=`uniform bool receiveShadow;
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
#include <lightprobes_pars_fragment>`,Db=`#ifdef USE_ENVMAP
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
#endif`,Nb=`ToonMaterial material;
material.diffuseColor = diffuseColor.rgb;`,Ub=`varying vec3 vViewPosition;
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
#define RE_IndirectDiffuse		RE_IndirectDiffuse_Toon`,Fb=`BlinnPhongMaterial material;
material.diffuseColor = diffuseColor.rgb;
material.specularColor = specular;
material.specularShininess = shininess;
material.specularStrength = specularStrength;`,Ob=`varying vec3 vViewPosition;
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
#define RE_IndirectDiffuse		RE_IndirectDiffuse_BlinnPhong`,Bb=`PhysicalMaterial material;
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
#endif`,kb=`uniform sampler2D dfgLUT;
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
}`,zb=`
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
#endif`,Vb=`#if defined( RE_IndirectDiffuse )
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
#endif`,Gb=`#if defined( RE_IndirectDiffuse )
	#if defined( LAMBERT ) || defined( PHONG )
		irradiance += iblIrradiance;
	#endif
	RE_IndirectDiffuse( irradiance, geometryPosition, geometryNormal, geometryViewDir, geometryClearcoatNormal, material, reflectedLight );
#endif
#if defined( RE_IndirectSpecular )
	RE_IndirectSpecular( radiance, iblIrradiance, clearcoatRadiance, geometryPosition, geometryNormal, geometryViewDir, geometryClearcoatNormal, material, reflectedLight );
#endif`,Hb=`#if NUM_LIGHT_PROBE_GRIDS > 0
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
#endif`,Wb=`#if defined( USE_LOGARITHMIC_DEPTH_BUFFER )
	gl_FragDepth = vIsPerspective == 0.0 ? gl_FragCoord.z : log2( vFragDepth ) * logDepthBufFC * 0.5;
#endif`,Xb=`#if defined( USE_LOGARITHMIC_DEPTH_BUFFER )
	uniform float logDepthBufFC;
	varying float vFragDepth;
	varying float vIsPerspective;
#endif`,qb=`#ifdef USE_LOGARITHMIC_DEPTH_BUFFER
	varying float vFragDepth;
	varying float vIsPerspective;
#endif`,Yb=`#ifdef USE_LOGARITHMIC_DEPTH_BUFFER
	vFragDepth = 1.0 + gl_Position.w;
	vIsPerspective = float( isPerspectiveMatrix( projectionMatrix ) );
#endif`,$b=`#ifdef USE_MAP
	vec4 sampledDiffuseColor = texture2D( map, vMapUv );
	#ifdef DECODE_VIDEO_TEXTURE
		sampledDiffuseColor = sRGBTransferEOTF( sampledDiffuseColor );
	#endif
	diffuseColor *= sampledDiffuseColor;
#endif`,Zb=`#ifdef USE_MAP
	uniform sampler2D map;
#endif`,Jb=`#if defined( USE_MAP ) || defined( USE_ALPHAMAP )
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
#endif`,Kb=`#if defined( USE_POINTS_UV )
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
#endif`,jb=`float metalnessFactor = metalness;
#ifdef USE_METALNESSMAP
	vec4 texelMetalness = texture2D( metalnessMap, vMetalnessMapUv );
	metalnessFactor *= texelMetalness.b;
#endif`,Qb=`#ifdef USE_METALNESSMAP
	uniform sampler2D metalnessMap;
#endif`,eM=`#ifdef USE_INSTANCING_MORPH
	float morphTargetInfluences[ MORPHTARGETS_COUNT ];
	float morphTargetBaseInfluence = texelFetch( morphTexture, ivec2( 0, gl_InstanceID ), 0 ).r;
	for ( int i = 0; i < MORPHTARGETS_COUNT; i ++ ) {
		morphTargetInfluences[i] =  texelFetch( morphTexture, ivec2( i + 1, gl_InstanceID ), 0 ).r;
	}
#endif`,tM=`#if defined( USE_MORPHCOLORS )
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
#endif`,nM=`#ifdef USE_MORPHNORMALS
	objectNormal *= morphTargetBaseInfluence;
	for ( int i = 0; i < MORPHTARGETS_COUNT; i ++ ) {
		if ( morphTargetInfluences[ i ] != 0.0 ) objectNormal += getMorph( gl_VertexID, i, 1 ).xyz * morphTargetInfluences[ i ];
	}
#endif`,iM=`#ifdef USE_MORPHTARGETS
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
#endif`,sM=`#ifdef USE_MORPHTARGETS
	transformed *= morphTargetBaseInfluence;
	for ( int i = 0; i < MORPHTARGETS_COUNT; i ++ ) {
		if ( morphTargetInfluences[ i ] != 0.0 ) transformed += getMorph( gl_VertexID, i, 0 ).xyz * morphTargetInfluences[ i ];
	}
#endif`,rM=`float faceDirection = gl_FrontFacing ? 1.0 : - 1.0;
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
vec3 nonPerturbedNormal = normal;`,oM=`#ifdef USE_NORMALMAP_OBJECTSPACE
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
#endif`,aM=`#ifndef FLAT_SHADED
	varying vec3 vNormal;
	#ifdef USE_TANGENT
		varying vec3 vTangent;
		varying vec3 vBitangent;
	#endif
#endif`,lM=`#ifndef FLAT_SHADED
	varying vec3 vNormal;
	#ifdef USE_TANGENT
		varying vec3 vTangent;
		varying vec3 vBitangent;
	#endif
#endif`,cM=`#ifndef FLAT_SHADED
	vNormal = normalize( transformedNormal );
	#ifdef USE_TANGENT
		vTangent = normalize( transformedTangent );
		vBitangent = normalize( cross( vNormal, vTangent ) * tangent.w );
		#ifdef FLIP_SIDED
			vBitangent = - vBitangent;
		#endif
	#endif
#endif`,hM=`#ifdef USE_NORMALMAP
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
#endif`,uM=`#ifdef USE_CLEARCOAT
	vec3 clearcoatNormal = nonPerturbedNormal;
#endif`,fM=`#ifdef USE_CLEARCOAT_NORMALMAP
	vec3 clearcoatMapN = texture2D( clearcoatNormalMap, vClearcoatNormalMapUv ).xyz * 2.0 - 1.0;
	clearcoatMapN.xy *= clearcoatNormalScale;
	clearcoatNormal = normalize( tbn2 * clearcoatMapN );
#endif`,dM=`#ifdef USE_CLEARCOATMAP
	uniform sampler2D clearcoatMap;
#endif
#ifdef USE_CLEARCOAT_NORMALMAP
	uniform sampler2D clearcoatNormalMap;
	uniform vec2 clearcoatNormalScale;
#endif
#ifdef USE_CLEARCOAT_ROUGHNESSMAP
	uniform sampler2D clearcoatRoughnessMap;
#endif`,pM=`#ifdef USE_IRIDESCENCEMAP
	uniform sampler2D iridescenceMap;
#endif
#ifdef USE_IRIDESCENCE_THICKNESSMAP
	uniform sampler2D iridescenceThicknessMap;
#endif`,mM=`#ifdef OPAQUE
diffuseColor.a = 1.0;
#endif
#ifdef USE_TRANSMISSION
diffuseColor.a *= material.transmissionAlpha;
#endif
gl_FragColor = vec4( outgoingLight, diffuseColor.a );`,gM=`vec3 packNormalToRGB( const in vec3 normal ) {
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
}`,_M=`#ifdef PREMULTIPLIED_ALPHA
	gl_FragColor.rgb *= gl_FragColor.a;
#endif`,xM=`vec4 mvPosition = vec4( transformed, 1.0 );
#ifdef USE_BATCHING
	mvPosition = batchingMatrix * mvPosition;
#endif
#ifdef USE_INSTANCING
	mvPosition = instanceMatrix * mvPosition;
#endif
mvPosition = modelViewMatrix * mvPosition;
gl_Position = projectionMatrix * mvPosition;`,yM=`#ifdef DITHERING
	gl_FragColor.rgb = dithering( gl_FragColor.rgb );
#endif`,vM=`#ifdef DITHERING
	vec3 dithering( vec3 color ) {
		float grid_position = rand( gl_FragCoord.xy );
		vec3 dither_shift_RGB = vec3( 0.25 / 255.0, -0.25 / 255.0, 0.25 / 255.0 );
		dither_shift_RGB = mix( 2.0 * dither_shift_RGB, -2.0 * dither_shift_RGB, grid_position );
		return color + dither_shift_RGB;
	}
#endif`,SM=`float roughnessFactor = roughness;
#ifdef USE_ROUGHNESSMAP
	vec4 texelRoughness = texture2D( roughnessMap, vRoughnessMapUv );
	roughnessFactor *= texelRoughness.g;
#endif`,bM=`#ifdef USE_ROUGHNESSMAP
	uniform sampler2D roughnessMap;
#endif`,MM=`#if NUM_SPOT_LIGHT_COORDS > 0
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
#endif`,wM=`#if NUM_SPOT_LIGHT_COORDS > 0
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
#endif`,AM=`#if ( defined( USE_SHADOWMAP ) && ( NUM_DIR_LIGHT_SHADOWS > 0 || NUM_SUN_LIGHT_SHADOWS > 0 || NUM_POINT_LIGHT_SHADOWS > 0 ) ) || ( NUM_SPOT_LIGHT_COORDS > 0 )
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
#endif`,EM=`float getShadowMask() {
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
}`,TM=`#ifdef USE_SKINNING
	mat4 boneMatX = getBoneMatrix( skinIndex.x );
	mat4 boneMatY = getBoneMatrix( skinIndex.y );
	mat4 boneMatZ = getBoneMatrix( skinIndex.z );
	mat4 boneMatW = getBoneMatrix( skinIndex.w );
#endif`,CM=`#ifdef USE_SKINNING
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
#endif`,RM=`#ifdef USE_SKINNING
	vec4 skinVertex = bindMatrix * vec4( transformed, 1.0 );
	vec4 skinned = vec4( 0.0 );
	skinned += boneMatX * skinVertex * skinWeight.x;
	skinned += boneMatY * skinVertex * skinWeight.y;
	skinned += boneMatZ * skinVertex * skinWeight.z;
	skinned += boneMatW * skinVertex * skinWeight.w;
	transformed = ( bindMatrixInverse * skinned ).xyz;
#endif`,PM=`#ifdef USE_SKINNING
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
#endif`,IM=`float specularStrength;
#ifdef USE_SPECULARMAP
	vec4 texelSpecular = texture2D( specularMap, vSpecularMapUv );
	specularStrength = texelSpecular.r;
#else
	specularStrength = 1.0;
#endif`,LM=`#ifdef USE_SPECULARMAP
	uniform sampler2D specularMap;
#endif`,DM=`#if defined( TONE_MAPPING )
	gl_FragColor.rgb = toneMapping( gl_FragColor.rgb );
#endif`,NM=`#ifndef saturate
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
vec3 CustomToneMapping( vec3 color ) { return color; }`,UM=`#ifdef USE_TRANSMISSION
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
#endif`,FM=`#ifdef USE_TRANSMISSION
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
#endif`,OM=`#if defined( USE_UV ) || defined( USE_ANISOTROPY )
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
#endif`,BM=`#if defined( USE_UV ) || defined( USE_ANISOTROPY )
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
#endif`,kM=`#if defined( USE_UV ) || defined( USE_ANISOTROPY )
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
#endif`,zM=`#if defined( USE_ENVMAP ) || defined( DISTANCE ) || defined ( USE_SHADOWMAP ) || defined ( USE_TRANSMISSION ) || NUM_SPOT_LIGHT_COORDS > 0
	vec4 worldPosition = vec4( transformed, 1.0 );
	#ifdef USE_BATCHING
		worldPosition = batchingMatrix * worldPosition;
	#endif
	#ifdef USE_INSTANCING
		worldPosition = instanceMatrix * worldPosition;
	#endif
	worldPosition = modelMatrix * worldPosition;
#endif`,VM=`varying vec2 vUv;
uniform mat3 uvTransform;
void main() {
	vUv = ( uvTransform * vec3( uv, 1 ) ).xy;
	gl_Position = vec4( position.xy, 1.0, 1.0 );
}`,GM=`uniform sampler2D t2D;
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
}`,HM=`varying vec3 vWorldDirection;
#include <common>
void main() {
	vWorldDirection = transformDirection( position, modelMatrix );
	#include <begin_vertex>
	#include <project_vertex>
	gl_Position.z = gl_Position.w;
}`,WM=`uniform float backgroundBlurriness;
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
}`,XM=`varying vec3 vWorldDirection;
#include <common>
void main() {
	vWorldDirection = transformDirection( position, modelMatrix );
	#include <begin_vertex>
	#include <project_vertex>
	gl_Position.z = gl_Position.w;
}`,qM=`uniform samplerCube tCube;
uniform float tFlip;
uniform float opacity;
varying vec3 vWorldDirection;
void main() {
	vec4 texColor = textureCube( tCube, vec3( tFlip * vWorldDirection.x, vWorldDirection.yz ) );
	gl_FragColor = texColor;
	gl_FragColor.a *= opacity;
	#include <tonemapping_fragment>
	#include <colorspace_fragment>
}`,YM=`#include <common>
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
}`,$M=`#if DEPTH_PACKING == 3200
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
}`,ZM=`#define DISTANCE
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
}`,JM=`#define DISTANCE
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
}`,KM=`varying vec3 vWorldDirection;
#include <common>
void main() {
	vWorldDirection = transformDirection( position, modelMatrix );
	#include <begin_vertex>
	#include <project_vertex>
}`,jM=`uniform sampler2D tEquirect;
varying vec3 vWorldDirection;
#include <common>
void main() {
	vec3 direction = normalize( vWorldDirection );
	vec2 sampleUV = equirectUv( direction );
	gl_FragColor = texture2D( tEquirect, sampleUV );
	#include <tonemapping_fragment>
	#include <colorspace_fragment>
}`,QM=`uniform float scale;
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
}`,ew=`uniform vec3 diffuse;
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
}`,tw=`#include <common>
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
}`,nw=`uniform vec3 diffuse;
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
}`,iw=`#define LAMBERT
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
}`,sw=`#define LAMBERT
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
}`,rw=`#define MATCAP
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
}`,ow=`#define MATCAP
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
}`,aw=`#define NORMAL
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
}`,lw=`#define NORMAL
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
}`,cw=`#define PHONG
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
}`,hw=`#define PHONG
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
}`,uw=`#define STANDARD
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
}`,fw=`#define STANDARD
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
}`,dw=`#define TOON
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
}`,pw=`#define TOON
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
}`,mw=`uniform float size;
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
}`,gw=`uniform vec3 diffuse;
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
}`,_w=`#include <common>
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
}`,xw=`uniform vec3 color;
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
}`,yw=`uniform float rotation;
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
}`,vw=`uniform vec3 diffuse;
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
}`,ht={alphahash_fragment:GS,alphahash_pars_fragment:HS,alphamap_fragment:WS,alphamap_pars_fragment:XS,alphatest_fragment:qS,alphatest_pars_fragment:YS,aomap_fragment:$S,aomap_pars_fragment:ZS,batching_pars_vertex:JS,batching_vertex:KS,begin_vertex:jS,beginnormal_vertex:QS,bsdfs:eb,iridescence_fragment:tb,bumpmap_pars_fragment:nb,clipping_planes_fragment:ib,clipping_planes_pars_fragment:sb,clipping_planes_pars_vertex:rb,clipping_planes_vertex:ob,color_fragment:ab,color_pars_fragment:lb,color_pars_vertex:cb,color_vertex:hb,common:ub,defaultnormal_vertex:fb,displacementmap_pars_vertex:db,displacementmap_vertex:pb,emissivemap_fragment:mb,emissivemap_pars_fragment:gb,colorspace_fragment:_b,colorspace_pars_fragment:xb,envmap_fragment:yb,envmap_common_pars_fragment:vb,envmap_pars_fragment:Sb,envmap_pars_vertex:bb,envmap_physical_pars_fragment:Db,envmap_vertex:Mb,fog_vertex:wb,fog_pars_vertex:Ab,fog_fragment:Eb,fog_pars_fragment:Tb,gradientmap_pars_fragment:Cb,lightmap_pars_fragment:Rb,lights_lambert_fragment:Pb,lights_lambert_pars_fragment:Ib,lights_pars_begin:Lb,lights_toon_fragment:Nb,lights_toon_pars_fragment:Ub,lights_phong_fragment:Fb,lights_phong_pars_fragment:Ob,lights_physical_fragment:Bb,lights_physical_pars_fragment:kb,lights_fragment_begin:zb,lights_fragment_maps:Vb,lights_fragment_end:Gb,lightprobes_pars_fragment:Hb,logdepthbuf_fragment:Wb,logdepthbuf_pars_fragment:Xb,logdepthbuf_pars_vertex:qb,logdepthbuf_vertex:Yb,map_fragment:$b,map_pars_fragment:Zb,map_particle_fragment:Jb,map_particle_pars_fragment:Kb,metalnessmap_fragment:jb,metalnessmap_pars_fragment:Qb,morphinstance_vertex:eM,morphcolor_vertex:tM,morphnormal_vertex:nM,morphtarget_pars_vertex:iM,morphtarget_vertex:sM,normal_fragment_begin:rM,normal_fragment_maps:oM,normal_pars_fragment:aM,normal_pars_vertex:lM,normal_vertex:cM,normalmap_pars_fragment:hM,clearcoat_normal_fragment_begin:uM,clearcoat_normal_fragment_maps:fM,clearcoat_pars_fragment:dM,iridescence_pars_fragment:pM,opaque_fragment:mM,packing:gM,premultiplied_alpha_fragment:_M,project_vertex:xM,dithering_fragment:yM,dithering_pars_fragment:vM,roughnessmap_fragment:SM,roughnessmap_pars_fragment:bM,shadowmap_pars_fragment:MM,shadowmap_pars_vertex:wM,shadowmap_vertex:AM,shadowmask_pars_fragment:EM,skinbase_vertex:TM,skinning_pars_vertex:CM,skinning_vertex:RM,skinnormal_vertex:PM,specularmap_fragment:IM,specularmap_pars_fragment:LM,tonemapping_fragment:DM,tonemapping_pars_fragment:NM,transmission_fragment:UM,transmission_pars_fragment:FM,uv_pars_fragment:OM,uv_pars_vertex:BM,uv_vertex:kM,worldpos_vertex:zM,background_vert:VM,background_frag:GM,backgroundCube_vert:HM,backgroundCube_frag:WM,cube_vert:XM,cube_frag:qM,depth_vert:YM,depth_frag:$M,distance_vert:ZM,distance_frag:JM,equirect_vert:KM,equirect_frag:jM,linedashed_vert:QM,linedashed_frag:ew,meshbasic_vert:tw,meshbasic_frag:nw,meshlambert_vert:iw,meshlambert_frag:sw,meshmatcap_vert:rw,meshmatcap_frag:ow,meshnormal_vert:aw,meshnormal_frag:lw,meshphong_vert:cw,meshphong_frag:hw,meshphysical_vert:uw,meshphysical_frag:fw,meshtoon_vert:dw,meshtoon_frag:pw,points_vert:mw,points_frag:gw,shadow_vert:_w,shadow_frag:xw,sprite_vert:yw,sprite_frag:vw},Pe={common:{diffuse:{value:new je(16777215)},opacity:{value:1},map:{value:null},mapTransform:{value:new tt},alphaMap:{value:null},alphaMapTransform:{value:new tt},alphaTest:{value:0}},specularmap:{specularMap:{value:null},specularMapTransform:{value:new tt}},envmap:{envMap:{value:null},envMapRotation:{value:new tt},reflectivity:{value:1},ior:{value:1.5},refractionRatio:{value:.98},dfgLUT:{value:null}},aomap:{aoMap:{value:null},aoMapIntensity:{value:1},aoMapTransform:{value:new tt}},lightmap:{lightMap:{value:null},lightMapIntensity:{value:1},lightMapTransform:{value:new tt}},bumpmap:{bumpMap:{value:null},bumpMapTransform:{value:new tt},bumpScale:{value:1}},normalmap:{normalMap:{value:null},normalMapTransform:{value:new tt},normalScale:{value:new He(1,1)}},displacementmap:{displacementMap:{value:null},displacementMapTransform:{value:new tt},displacementScale:{value:1},displacementBias:{value:0}},emissivemap:{emissiveMap:{value:null},emissiveMapTransform:{value:new tt}},metalnessmap:{metalnessMap:{value:null},metalnessMapTransform:{value:new tt}},roughnessmap:{roughnessMap:{value:null},roughnessMapTransform:{value:new tt}},gradientmap:{gradientMap:{value:null}},fog:{fogDensity:{value:25e-5},fogNear:{value:1},fogFar:{value:2e3},fogColor:{value:new je(16777215)}},lights:{ambientLightColor:{value:[]},lightProbe:{value:[]},sunLights:{value:[],properties:{direction:{},color:{}}},sunLightShadows:{value:[],properties:{shadowIntensity:1,shadowBias:{},shadowNormalBias:{},shadowRadius:{},shadowMapSize:{}}},sunShadowMatrix:{value:[]},sunShadowCascade:{value:[]},directionalLights:{value:[],properties:{direction:{},color:{}}},directionalLightShadows:{value:[],properties:{shadowIntensity:1,shadowBias:{},shadowNormalBias:{},shadowRadius:{},shadowMapSize:{}}},directionalShadowMatrix:{value:[]},spotLights:{value:[],properties:{color:{},position:{},direction:{},distance:{},coneCos:{},penumbraCos:{},decay:{}}},spotLightShadows:{value:[],properties:{shadowIntensity:1,shadowBias:{},shadowNormalBias:{},shadowRadius:{},shadowMapSize:{}}},spotLightMap:{value:[]},spotLightMatrix:{value:[]},pointLights:{value:[],properties:{color:{},position:{},decay:{},distance:{}}},pointLightShadows:{value:[],properties:{shadowIntensity:1,shadowBias:{},shadowNormalBias:{},shadowRadius:{},shadowMapSize:{},shadowCameraNear:{},shadowCameraFar:{}}},pointShadowMatrix:{value:[]},hemisphereLights:{value:[],properties:{direction:{},skyColor:{},groundColor:{}}},rectAreaLights:{value:[],properties:{color:{},position:{},width:{},height:{}}},ltc_1:{value:null},ltc_2:{value:null},probesSH:{value:[]},probesMin:{value:[]},probesMax:{value:[]},probesResolution:{value:[]}},points:{diffuse:{value:new je(16777215)},opacity:{value:1},size:{value:1},scale:{value:1},map:{value:null},alphaMap:{value:null},alphaMapTransform:{value:new tt},alphaTest:{value:0},uvTransform:{value:new tt}},sprite:{diffuse:{value:new je(16777215)},opacity:{value:1},center:{value:new He(.5,.5)},rotation:{value:0},map:{value:null},mapTransform:{value:new tt},alphaMap:{value:null},alphaMapTransform:{value:new tt},alphaTest:{value:0}}},Jn={basic:{uniforms:kn([Pe.common,Pe.specularmap,Pe.envmap,Pe.aomap,Pe.lightmap,Pe.fog]),vertexShader:ht.meshbasic_vert,fragmentShader:ht.meshbasic_frag},lambert:{uniforms:kn([Pe.common,Pe.specularmap,Pe.envmap,Pe.aomap,Pe.lightmap,Pe.emissivemap,Pe.bumpmap,Pe.normalmap,Pe.displacementmap,Pe.fog,Pe.lights,{emissive:{value:new je(0)},envMapIntensity:{value:1}}]),vertexShader:ht.meshlambert_vert,fragmentShader:ht.meshlambert_frag},phong:{uniforms:kn([Pe.common,Pe.specularmap,Pe.envmap,Pe.aomap,Pe.lightmap,Pe.emissivemap,Pe.bumpmap,Pe.normalmap,Pe.displacementmap,Pe.fog,Pe.lights,{emissive:{value:new je(0)},specular:{value:new je(1118481)},shininess:{value:30},envMapIntensity:{value:1}}]),vertexShader:ht.meshphong_vert,fragmentShader:ht.meshphong_frag},standard:{uniforms:kn([Pe.common,Pe.envmap,Pe.aomap,Pe.lightmap,Pe.emissivemap,Pe.bumpmap,Pe.normalmap,Pe.displacementmap,Pe.roughnessmap,Pe.metalnessmap,Pe.fog,Pe.lights,{emissive:{value:new je(0)},roughness:{value:1},metalness:{value:0},envMapIntensity:{value:1}}]),vertexShader:ht.meshphysical_vert,fragmentShader:ht.meshphysical_frag},toon:{uniforms:kn([Pe.common,Pe.aomap,Pe.lightmap,Pe.emissivemap,Pe.bumpmap,Pe.normalmap,Pe.displacementmap,Pe.gradientmap,Pe.fog,Pe.lights,{emissive:{value:new je(0)}}]),vertexShader:ht.meshtoon_vert,fragmentShader:ht.meshtoon_frag},matcap:{uniforms:kn([Pe.common,Pe.bumpmap,Pe.normalmap,Pe.displacementmap,Pe.fog,{matcap:{value:null}}]),vertexShader:ht.meshmatcap_vert,fragmentShader:ht.meshmatcap_frag},points:{uniforms:kn([Pe.points,Pe.fog]),vertexShader:ht.points_vert,fragmentShader:ht.points_frag},dashed:{uniforms:kn([Pe.common,Pe.fog,{scale:{value:1},dashSize:{value:1},totalSize:{value:2}}]),vertexShader:ht.linedashed_vert,fragmentShader:ht.linedashed_frag},depth:{uniforms:kn([Pe.common,Pe.displacementmap]),vertexShader:ht.depth_vert,fragmentShader:ht.depth_frag},normal:{uniforms:kn([Pe.common,Pe.bumpmap,Pe.normalmap,Pe.displacementmap,{opacity:{value:1}}]),vertexShader:ht.meshnormal_vert,fragmentShader:ht.meshnormal_frag},sprite:{uniforms:kn([Pe.sprite,Pe.fog]),vertexShader:ht.sprite_vert,fragmentShader:ht.sprite_frag},background:{uniforms:{uvTransform:{value:new tt},t2D:{value:null},backgroundIntensity:{value:1}},vertexShader:ht.background_vert,fragmentShader:ht.background_frag},backgroundCube:{uniforms:{envMap:{value:null},backgroundBlurriness:{value:0},backgroundIntensity:{value:1},backgroundRotation:{value:new tt}},vertexShader:ht.backgroundCube_vert,fragmentShader:ht.backgroundCube_frag},cube:{uniforms:{tCube:{value:null},tFlip:{value:-1},opacity:{value:1}},vertexShader:ht.cube_vert,fragmentShader:ht.cube_frag},equirect:{uniforms:{tEquirect:{value:null}},vertexShader:ht.equirect_vert,fragmentShader:ht.equirect_frag},distance:{uniforms:kn([Pe.common,Pe.displacementmap,{referencePosition:{value:new U},nearDistance:{value:1},farDistance:{value:1e3}}]),vertexShader:ht.distance_vert,fragmentShader:ht.distance_frag},shadow:{uniforms:kn([Pe.lights,Pe.fog,{color:{value:new je(0)},opacity:{value:1}}]),vertexShader:ht.shadow_vert,fragmentShader:ht.shadow_frag}};Jn.physical={uniforms:kn([Jn.standard.uniforms,{clearcoat:{value:0},clearcoatMap:{value:null},clearcoatMapTransform:{value:new tt},clearcoatNormalMap:{value:null},clearcoatNormalMapTransform:{value:new tt},clearcoatNormalScale:{value:new He(1,1)},clearcoatRoughness:{value:0},clearcoatRoughnessMap:{value:null},clearcoatRoughnessMapTransform:{value:new tt},diffuseRoughness:{value:0},diffuseRoughnessMap:{value:null},diffuseRoughnessMapTransform:{value:new tt},dispersion:{value:0},retroreflectivity:{value:0},iridescence:{value:0},iridescenceMap:{value:null},iridescenceMapTransform:{value:new tt},iridescenceIOR:{value:1.3},iridescenceThicknessMinimum:{value:100},iridescenceThicknessMaximum:{value:400},iridescenceThicknessMap:{value:null},iridescenceThicknessMapTransform:{value:new tt},sheen:{value:0},sheenColor:{value:new je(0)},sheenColorMap:{value:null},sheenColorMapTransform:{value:new tt},sheenRoughness:{value:1},sheenRoughnessMap:{value:null},sheenRoughnessMapTransform:{value:new tt},transmission:{value:0},transmissionMap:{value:null},transmissionMapTransform:{value:new tt},transmissionSamplerSize:{value:new He},transmissionSamplerMap:{value:null},thickness:{value:0},thicknessMap:{value:null},thicknessMapTransform:{value:new tt},attenuationDistance:{value:0},attenuationColor:{value:new je(0)},specularColor:{value:new je(1,1,1)},specularColorMap:{value:null},specularColorMapTransform:{value:new tt},specularIntensity:{value:1},specularIntensityMap:{value:null},specularIntensityMapTransform:{value:new tt},anisotropyVector:{value:new He},anisotropyMap:{value:null},anisotropyMapTransform:{value:new tt}}]),vertexShader:ht.meshphysical_vert,fragmentShader:ht.meshphysical_frag};var Nh={r:0,b:0,g:0},Sw=new Dt,b_=new tt;b_.set(-1,0,0,0,1,0,0,0,1);function bw(i,e,t,n,s,r){let o=new je(0),a=s===!0?0:1,c,l,u=null,h=0,f=null;function d(y){let T=y.isScene===!0?y.background:null;if(T&&T.isTexture){let S=y.backgroundBlurriness>0;T=e.get(T,S)}return T}function g(y){let T=!1,S=d(y);S===null?m(o,a):S&&S.isColor&&(m(S,1),T=!0);let C=i.xr.getEnvironmentBlendMode();C==="additive"?t.buffers.color.setClear(0,0,0,1,r):C==="alpha-blend"&&t.buffers.color.setClear(0,0,0,0,r),(i.autoClear||T)&&(t.buffers.depth.setTest(!0),t.buffers.depth.setMask(!0),t.buffers.color.setMask(!0),i.clear(i.autoClearColor,i.autoClearDepth,i.autoClearStencil))}function v(y,T){let S=d(T);S&&S.isCubeTexture?(l===void 0&&(l=new en(new zs(1,1,1),new Zn({name:"BackgroundCubeMaterial",uniforms:mr(Jn.backgroundCube.uniforms),vertexShader:Jn.backgroundCube.vertexShader,fragmentShader:Jn.backgroundCube.fragmentShader,side:Cn,depthTest:!1,depthWrite:!1,fog:!1,allowOverride:!1})),l.geometry.deleteAttribute("normal"),l.geometry.deleteAttribute("uv"),l.onBeforeRender=function(C,E,x){this.matrixWorld.copyPosition(x.matrixWorld)},Object.defineProperty(l.material,"envMap",{get:function(){return this.uniforms.envMap.value}}),n.update(l)),l.material.uniforms.envMap.value=S,l.material.uniforms.backgroundBlurriness.value=T.backgroundBlurriness,l.material.uniforms.backgroundIntensity.value=T.backgroundIntensity,l.material.uniforms.backgroundRotation.value.setFromMatrix4(Sw.makeRotationFromEuler(T.backgroundRotation)).transpose(),S.isRenderTargetTexture===!1&&l.material.uniforms.backgroundRotation.value.premultiply(b_),l.material.toneMapped=xt.getTransfer(S.colorSpace)!==At,(u!==S||h!==S.version||f!==i.toneMapping)&&(l.material.needsUpdate=!0,u=S,h=S.version,f=i.toneMapping),l.layers.enableAll(),y.unshift(l,l.geometry,l.material,0,0,null)):S&&S.isTexture&&(c===void 0&&(c=new en(new Ma(2,2),new Zn({name:"BackgroundMaterial",uniforms:mr(Jn.background.uniforms),vertexShader:Jn.background.vertexShader,fragmentShader:Jn.background.fragmentShader,side:Xs,depthTest:!1,depthWrite:!1,fog:!1,allowOverride:!1})),c.geometry.deleteAttribute("normal"),Object.defineProperty(c.material,"map",{get:function(){return this.uniforms.t2D.value}}),n.update(c)),c.material.uniforms.t2D.value=S,c.material.uniforms.backgroundIntensity.value=T.backgroundIntensity,c.material.toneMapped=xt.getTransfer(S.colorSpace)!==At,S.matrixAutoUpdate===!0&&S.updateMatrix(),c.material.uniforms.uvTransform.value.copy(S.matrix),(u!==S||h!==S.version||f!==i.toneMapping)&&(c.material.needsUpdate=!0,u=S,h=S.version,f=i.toneMapping),c.layers.enableAll(),y.unshift(c,c.geometry,c.material,0,0,null))}function m(y,T){y.getRGB(Nh,vd(i)),t.buffers.color.setClear(Nh.r,Nh.g,Nh.b,T,r)}function p(){l!==void 0&&(l.geometry.dispose(),l.material.dispose(),l=void 0),c!==void 0&&(c.geometry.dispose(),c.material.dispose(),c=void 0)}return{getClearColor:function(){return o},setClearColor:function(y,T=1){o.set(y),a=T,m(o,a)},getClearAlpha:function(){return a},setClearAlpha:function(y){a=y,m(o,a)},render:g,addToRenderList:v,dispose:p}}function Mw(i,e){let t=i.getParameter(i.MAX_VERTEX_ATTRIBS),n={},s=f(null),r=s,o=!1;function a(I,k,V,N,W){let $=!1,H=h(I,N,V,k);r!==H&&(r=H,l(r.object)),$=d(I,N,V,W),$&&g(I,N,V,W),W!==null&&e.update(W,i.ELEMENT_ARRAY_BUFFER),($||o)&&(o=!1,S(I,k,V,N),W!==null&&i.bindBuffer(i.ELEMENT_ARRAY_BUFFER,e.get(W).buffer))}function c(){return i.createVertexArray()}function l(I){return i.bindVertexArray(I)}function u(I){return i.deleteVertexArray(I)}function h(I,k,V,N){let W=N.wireframe===!0,$=n[k.id];$===void 0&&($={},n[k.id]=$);let H=I.isInstancedMesh===!0?I.id:0,ce=$[H];ce===void 0&&(ce={},$[H]=ce);let K=ce[V.id];K===void 0&&(K={},ce[V.id]=K);let Q=K[W];return Q===void 0&&(Q=f(c()),K[W]=Q),Q}function f(I){let k=[],V=[],N=[];for(let W=0;W<t;W++)k[W]=0,V[W]=0,N[W]=0;return{geometry:null,program:null,wireframe:!1,newAttributes:k,enabledAttributes:V,attributeDivisors:N,object:I,attributes:{},index:null}}function d(I,k,V,N){let W=r.attributes,$=k.attributes,H=0,ce=V.getAttributes();for(let K in ce)if(ce[K].location>=0){let se=W[K],fe=$[K];if(fe===void 0&&(K==="instanceMatrix"&&I.instanceMatrix&&(fe=I.instanceMatrix),K==="instanceColor"&&I.instanceColor&&(fe=I.instanceColor)),se===void 0||se.attribute!==fe||fe&&se.data!==fe.data)return!0;H++}return r.attributesNum!==H||r.index!==N}function g(I,k,V,N){let W={},$=k.attributes,H=0,ce=V.getAttributes();for(let K in ce)if(ce[K].location>=0){let se=$[K];se===void 0&&(K==="instanceMatrix"&&I.instanceMatrix&&(se=I.instanceMatrix),K==="instanceColor"&&I.instanceColor&&(se=I.instanceColor));let fe={};fe.attribute=se,se&&se.data&&(fe.data=se.data),W[K]=fe,H++}r.attributes=W,r.attributesNum=H,r.index=N}function v(){let I=r.newAttributes;for(let k=0,V=I.length;k<V;k++)I[k]=0}function m(I){p(I,0)}function p(I,k){let V=r.newAttributes,N=r.enabledAttributes,W=r.attributeDivisors;V[I]=1,N[I]===0&&(i.enableVertexAttribArray(I),N[I]=1),W[I]!==k&&(i.vertexAttribDivisor(I,k),W[I]=k)}function y(){let I=r.newAttributes,k=r.enabledAttributes;for(let V=0,N=k.length;V<N;V++)k[V]!==I[V]&&(i.disableVertexAttribArray(V),k[V]=0)}function T(I,k,V,N,W,$,H){H===!0?i.vertexAttribIPointer(I,k,V,W,$):i.vertexAttribPointer(I,k,V,N,W,$)}function S(I,k,V,N){v();let W=N.attributes,$=V.getAttributes(),H=k.defaultAttributeValues;for(let ce in $){let K=$[ce];if(K.location>=0){let Q=W[ce];if(Q===void 0&&(ce==="instanceMatrix"&&I.instanceMatrix&&(Q=I.instanceMatrix),ce==="instanceColor"&&I.instanceColor&&(Q=I.instanceColor)),Q!==void 0){let se=Q.normalized,fe=Q.itemSize,ue=e.get(Q);if(ue===void 0)continue;let ee=ue.buffer,me=ue.type,xe=ue.bytesPerElement,Te=me===i.INT||me===i.UNSIGNED_INT||Q.gpuType===Jc;if(Q.isInterleavedBufferAttribute){let be=Q.data,We=be.isInterleavedBuffer===!0?be.stride:be.itemSize,st=Q.offset;if(be.isInstancedInterleavedBuffer||be.isInstancedBufferAttribute){for(let Ve=0;Ve<K.locationSize;Ve++)p(K.location+Ve,be.meshPerAttribute);I.isInstancedMesh!==!0&&N._maxInstanceCount===void 0&&(N._maxInstanceCount=be.meshPerAttribute*be.count)}else for(let Ve=0;Ve<K.locationSize;Ve++)m(K.location+Ve);i.bindBuffer(i.ARRAY_BUFFER,ee);for(let Ve=0;Ve<K.locationSize;Ve++)T(K.location+Ve,fe/K.locationSize,me,se,We*xe,(st+fe/K.locationSize*Ve)*xe,Te)}else{if(Q.isInstancedBufferAttribute){for(let be=0;be<K.locationSize;be++)p(K.location+be,Q.meshPerAttribute);I.isInstancedMesh!==!0&&N._maxInstanceCount===void 0&&(N._maxInstanceCount=Q.meshPerAttribute*Q.count)}else for(let be=0;be<K.locationSize;be++)m(K.location+be);i.bindBuffer(i.ARRAY_BUFFER,ee);for(let be=0;be<K.locationSize;be++)T(K.location+be,fe/K.locationSize,me,se,fe*xe,fe/K.locationSize*be*xe,Te)}}else if(H!==void 0){let se=H[ce];if(se!==void 0)switch(se.length){case 2:i.vertexAttrib2fv(K.location,se);break;case 3:i.vertexAttrib3fv(K.location,se);break;case 4:i.vertexAttrib4fv(K.location,se);break;default:i.vertexAttrib1fv(K.location,se)}}}}y()}function C(){F();for(let I in n){let k=n[I];for(let V in k){let N=k[V];for(let W in N){let $=N[W];for(let H in $)u($[H].object),delete $[H];delete N[W]}}delete n[I]}}function E(I){if(n[I.id]===void 0)return;let k=n[I.id];for(let V in k){let N=k[V];for(let W in N){let $=N[W];for(let H in $)u($[H].object),delete $[H];delete N[W]}}delete n[I.id]}function x(I){for(let k in n){let V=n[k];for(let N in V){let W=V[N];if(W[I.id]===void 0)continue;let $=W[I.id];for(let H in $)u($[H].object),delete $[H];delete W[I.id]}}}function A(I){for(let k in n){let V=n[k],N=I.isInstancedMesh===!0?I.id:0,W=V[N];if(W!==void 0){for(let $ in W){let H=W[$];for(let ce in H)u(H[ce].object),delete H[ce];delete W[$]}delete V[N],Object.keys(V).length===0&&delete n[k]}}}function F(){L(),o=!0,r!==s&&(r=s,l(r.object))}function L(){s.geometry=null,s.program=null,s.wireframe=!1}return{setup:a,reset:F,resetDefaultState:L,dispose:C,releaseStatesOfGeometry:E,releaseStatesOfObject:A,releaseStatesOfProgram:x,initAttributes:v,enableAttribute:m,disableUnusedAttributes:y}}function ww(i,e,t){let n;function s(c){n=c}function r(c,l){i.drawArrays(n,c,l),t.update(l,n,1)}function o(c,l,u){u!==0&&(i.drawArraysInstanced(n,c,l,u),t.update(l,n,u))}function a(c,l,u){if(u===0)return;e.get("WEBGL_multi_draw").multiDrawArraysWEBGL(n,c,0,l,0,u);let f=0;for(let d=0;d<u;d++)f+=l[d];t.update(f,n,1)}this.setMode=s,this.render=r,this.renderInstances=o,this.renderMultiDraw=a}function Aw(i,e,t,n){let s;function r(){if(s!==void 0)return s;if(e.has("EXT_texture_filter_anisotropic")===!0){let x=e.get("EXT_texture_filter_anisotropic");s=i.getParameter(x.MAX_TEXTURE_MAX_ANISOTROPY_EXT)}else s=0;return s}function o(x){return!(x!==Oi&&n.convert(x)!==i.getParameter(i.IMPLEMENTATION_COLOR_READ_FORMAT))}function a(x){let A=x===Fi&&(e.has("EXT_color_buffer_half_float")||e.has("EXT_color_buffer_float"));return!(x!==jn&&x!==Ui&&!A&&n.convert(x)!==i.getParameter(i.IMPLEMENTATION_COLOR_READ_TYPE))}function c(x){if(x==="highp"){if(i.getShaderPrecisionFormat(i.VERTEX_SHADER,i.HIGH_FLOAT).precision>0&&i.getShaderPrecisionFormat(i.FRAGMENT_SHADER,i.HIGH_FLOAT).precision>0)return"highp";x="mediump"}return x==="mediump"&&i.getShaderPrecisionFormat(i.VERTEX_SHADER,i.MEDIUM_FLOAT).precision>0&&i.getShaderPrecisionFormat(i.FRAGMENT_SHADER,i.MEDIUM_FLOAT).precision>0?"mediump":"lowp"}let l=t.precision!==void 0?t.precision:"highp",u=c(l);u!==l&&(Ye("WebGLRenderer:",l,"not supported, using",u,"instead."),l=u);let h=t.reversedDepthBuffer===!0&&e.has("EXT_clip_control"),f=t.logarithmicDepthBuffer===!0&&h===!1;t.reversedDepthBuffer===!0&&h===!1&&Ye("WebGLRenderer: Unable to use reversed depth buffer due to missing EXT_clip_control extension. Fallback to default depth buffer."),t.logarithmicDepthBuffer===!0&&h===!0&&Ye("WebGLRenderer: Logarithmic depth buffer is ignored when reversed depth buffer is enabled.");let d=i.getParameter(i.MAX_TEXTURE_IMAGE_UNITS),g=i.getParameter(i.MAX_VERTEX_TEXTURE_IMAGE_UNITS),v=i.getParameter(i.MAX_TEXTURE_SIZE),m=i.getParameter(i.MAX_CUBE_MAP_TEXTURE_SIZE),p=i.getParameter(i.MAX_VERTEX_ATTRIBS),y=i.getParameter(i.MAX_VERTEX_UNIFORM_VECTORS),T=i.getParameter(i.MAX_VARYING_VECTORS),S=i.getParameter(i.MAX_FRAGMENT_UNIFORM_VECTORS),C=i.getParameter(i.MAX_SAMPLES),E=i.getParameter(i.SAMPLES);return{isWebGL2:!0,getMaxAnisotropy:r,getMaxPrecision:c,textureFormatReadable:o,textureTypeReadable:a,precision:l,logarithmicDepthBuffer:f,reversedDepthBuffer:h,maxTextures:d,maxVertexTextures:g,maxTextureSize:v,maxCubemapSize:m,maxAttributes:p,maxVertexUniforms:y,maxVaryings:T,maxFragmentUniforms:S,maxSamples:C,samples:E}}function Ew(i){let e=this,t=null,n=0,s=!1,r=!1,o=new hi,a=new tt,c={value:null,needsUpdate:!1};this.uniform=c,this.numPlanes=0,this.numIntersection=0,this.init=function(h,f){let d=h.length!==0||f||n!==0||s;return s=f,n=h.length,d},this.beginShadows=function(){r=!0,u(null)},this.endShadows=function(){r=!1},this.setGlobalState=function(h,f){t=u(h,f,0)},this.setState=function(h,f,d){let g=h.clippingPlanes,v=h.clipIntersection,m=h.clipShadows,p=i.get(h);if(!s||g===null||g.length===0||r&&!m)r?u(null):l();else{let y=r?0:n,T=y*4,S=p.clippingState||null;c.value=S,S=u(g,f,T,d);for(let C=0;C!==T;++C)S[C]=t[C];p.clippingState=S,this.numIntersection=v?this.numPlanes:0,this.numPlanes+=y}};function l(){c.value!==t&&(c.value=t,c.needsUpdate=n>0),e.numPlanes=n,e.numIntersection=0}function u(h,f,d,g){let v=h!==null?h.length:0,m=null;if(v!==0){if(m=c.value,g!==!0||m===null){let p=d+v*4,y=f.matrixWorldInverse;a.getNormalMatrix(y),(m===null||m.length<p)&&(m=new Float32Array(p));for(let T=0,S=d;T!==v;++T,S+=4)o.copy(h[T]).applyMatrix4(y,a),o.normal.toArray(m,S),m[S+3]=o.constant}c.value=m,c.needsUpdate=!0}return e.numPlanes=v,e.numIntersection=0,m}}var Ya=class extends fi{constructor(e=1,t={}){super(e,e,t),this.isWebGLCubeRenderTarget=!0;let n={width:e,height:e,depth:1},s=[n,n,n,n,n,n];this.texture=new ga(s),this._setTextureOptions(t),this.texture.isRenderTargetTexture=!0}fromEquirectangularTexture(e,t){this.texture.type=t.type,this.texture.colorSpace=t.colorSpace,this.texture.generateMipmaps=t.generateMipmaps,this.texture.minFilter=t.minFilter,this.texture.magFilter=t.magFilter;let n={uniforms:{tEquirect:{value:null}},vertexShader:`

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
			`},s=new zs(5,5,5),r=new Zn({name:"CubemapFromEquirect",uniforms:mr(n.uniforms),vertexShader:n.vertexShader,fragmentShader:n.fragmentShader,side:Cn,blending:ur});r.uniforms.tEquirect.value=t;let o=new en(s,r),a=t.minFilter;return t.minFilter===bs&&(t.minFilter=$n),new xo(1,10,this).update(e,o),t.minFilter=a,o.geometry.dispose(),o.material.dispose(),this}clear(e,t=!0,n=!0,s=!0){let r=e.getRenderTarget();for(let o=0;o<6;o++)e.setRenderTarget(this,o),e.clear(t,n,s);e.setRenderTarget(r)}},e_=256,Tw=3,Cw=20,M_=256,w_=16,Rw=3,Pw=new U,Iw=new je,Fh=class i{constructor(e){this._renderer=e,this._cubeSize=0,this._sourceTarget=null,this._cubeCamera=new xo(1,10,null),this._boxMesh=new en(new zs(5,5,5),null),this._cubemapMaterial=null,this._equirectMaterial=null,this._blurMaterial=null,this._ggxMaterial=null,this._integrationMaterial=null}fromScene(e,t=0,n=.1,s=100,r={}){let{size:o=256,position:a=Pw}=r,c=this._renderer;this._setSize(o);let l=this._allocateTarget(),u=this._getSourceTarget(!0);t>0&&(u.texture.mipmapsAutoUpdate=!1);let h=c.autoClear,f=c.autoClearColor,d=c.autoClearDepth,g=c.autoClearStencil,v=e.background;c.autoClear=!0,c.autoClearColor=!0,c.autoClearDepth=!0,c.autoClearStencil=!0,v===null&&(e.background=c.getClearColor(Iw));let m=new xo(n,s,u);return m.position.copy(a),m.update(c,e),c.autoClear=h,c.autoClearColor=f,c.autoClearDepth=d,c.autoClearStencil=g,e.background=v,t>0&&(u.texture.mipmapsAutoUpdate=!0,this._blur(l,t)),this._applyPMREM(l),l}fromEquirectangular(e,t=null){return this._fromTexture(e,t)}fromCubemap(e,t=null){return this._fromTexture(e,t)}compileCubemapShader(){this._cubemapMaterial===null&&(this._cubemapMaterial=i_(),this._compileMaterial(this._cubemapMaterial))}compileEquirectangularShader(){this._equirectMaterial===null&&(this._equirectMaterial=n_(),this._compileMaterial(this._equirectMaterial))}dispose(){this._sourceTarget!==null&&this._sourceTarget.dispose(),this._cubemapMaterial!==null&&this._cubemapMaterial.dispose(),this._equirectMaterial!==null&&this._equirectMaterial.dispose(),this._blurMaterial!==null&&this._blurMaterial.dispose(),this._ggxMaterial!==null&&this._ggxMaterial.dispose(),this._integrationMaterial!==null&&this._integrationMaterial.dispose(),this._boxMesh.geometry.dispose()}static lodToRoughness(e,t){return t>0?1-Math.sqrt(1-e/t):0}_setSize(e){this._cubeSize=Math.max(e_,md(e))}_fromTexture(e,t){e.mapping===dr||e.mapping===So?this._setSize(e.image.length===0?e_:e.image[0].width||e.image[0].image.width):this._setSize(e.image.width/4);let n=t||this._allocateTarget();return this._textureToCubemap(e),this._applyPMREM(n),n}_allocateTarget(){let e=this._cubeSize,t=t_(e,!1,!1),n=Math.log2(e)-Tw;for(let s=0;s<=n;s++)t.texture.mipmaps.push({width:e>>s,height:e>>s});return t.texture.name="PMREM",t.texture.isPMREMTexture=!0,t}_getSourceTarget(e=!1){let t=this._cubeSize,n=this._sourceTarget;return(n===null||n.width!==t||e&&n.depthBuffer===!1)&&(n!==null&&n.dispose(),this._sourceTarget=t_(t,!0,e)),this._sourceTarget}_compileMaterial(e){this._boxMesh.material=e,this._renderer.compile(this._boxMesh,this._cubeCamera.children[0])}_renderCube(e,t,n){let s=this._boxMesh,r=this._cubeCamera;s.material=n,r.renderTarget=e,r.activeMipmapLevel=t;let o=e.width>>t;e.viewport.set(0,0,o,o),r.update(this._renderer,s),e.viewport.set(0,0,e.width,e.height)}_textureToCubemap(e){let t;e.mapping===dr||e.mapping===So?(this._cubemapMaterial===null&&(this._cubemapMaterial=i_()),t=this._cubemapMaterial,t.uniforms.flipEnvMap.value=e.isRenderTargetTexture===!1?-1:1):(this._equirectMaterial===null&&(this._equirectMaterial=n_()),t=this._equirectMaterial),t.uniforms.envMap.value=e,this._renderCube(this._getSourceTarget(),0,t)}_applyPMREM(e){this._ggxMaterial===null&&(this._ggxMaterial=Lw(),this._integrationMaterial=Dw());let t=this._cubeSize,n=e.texture.mipmaps.length-1,s=this._ggxMaterial.uniforms;s.envMap.value=this._sourceTarget.texture;let r=this._integrationMaterial.uniforms;r.envMap.value=this._sourceTarget.texture,r.sourceLod.value=Math.log2(t/w_);for(let o=0;o<=n;o++){let a=i.lodToRoughness(o,n);if(o>n-Rw)r.roughness.value=a,this._renderCube(e,o,this._integrationMaterial);else{let c=a>0?Math.log2(t)+.5*Math.log2(6/(M_*Math.pow(a,4)))+.5:0;s.roughness.value=a,s.lodBias.value=c,this._renderCube(e,o,this._ggxMaterial)}}}_blur(e,t){this._blurMaterial===null&&(this._blurMaterial=Nw());let n=this._blurMaterial,s=n.uniforms,r=this._sourceTarget;s.sigma.value=Math.min(t,Math.PI)/Math.SQRT2,s.envMap.value=r.texture,this._renderCube(e,0,n),s.envMap.value=e.texture,this._renderCube(r,0,n)}};function t_(i,e,t){return new Ya(i,{minFilter:bs,generateMipmaps:e,type:Fi,colorSpace:oa,depthBuffer:t})}function $a(i,e,t){return new Zn({name:i,uniforms:e,vertexShader:ht.cube_vert,fragmentShader:t,side:Cn,blending:ur,depthTest:!1,depthWrite:!1})}function Lw(){return $a("PMREMGGXConvolution",{envMap:{value:null},roughness:{value:0},lodBias:{value:0}},`

		#define GGX_SAMPLES ${M_}u

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
	`)}function Dw(){return $a("PMREMGGXIntegration",{envMap:{value:null},roughness:{value:0},sourceLod:{value:0},sourceSize:{value:w_}},`

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
	`)}function Nw(){return $a("PMREMSphericalGaussianBlur",{envMap:{value:null},sigma:{value:0}},`

		#define SAMPLES ${Cw}
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
	`)}function n_(){return $a("PMREMEquirectangularToCubemap",{envMap:{value:null}},`

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
	`)}function i_(){return $a("PMREMCubemapToCubemap",{envMap:{value:null},flipEnvMap:{value:-1}},`

		varying vec3 vWorldDirection;

		uniform samplerCube envMap;
		uniform float flipEnvMap;

		void main() {

			gl_FragColor = vec4( textureCube( envMap, vec3( flipEnvMap * vWorldDirection.x, vWorldDirection.yz ) ).rgb, 1.0 );

		}
	`)}function Uw(i){let e=new WeakMap,t=new WeakMap,n=null;function s(f,d=!1){return f==null?null:d?o(f):r(f)}function r(f){if(f&&f.isTexture){let d=f.mapping;if(d===Yc||d===$c)if(e.has(f)){let g=e.get(f).texture;return a(g,f.mapping)}else{let g=f.image;if(g&&g.height>0){let v=new Ya(g.height);return v.fromEquirectangularTexture(i,f),e.set(f,v),f.addEventListener("dispose",l),a(v.texture,f.mapping)}else return null}}return f}function o(f){if(f&&f.isTexture&&f.isPMREMTexture!==!0){let d=f.mapping,g=d===Yc||d===$c,v=d===dr||d===So;if(g||v){let m=t.get(f),p=m!==void 0?m.texture.pmremVersion:0;if(f.isRenderTargetTexture&&f.pmremVersion!==p)return n===null&&(n=new Fh(i)),m=g?n.fromEquirectangular(f,m):n.fromCubemap(f,m),m.texture.pmremVersion=f.pmremVersion,t.set(f,m),m.texture;if(m!==void 0)return m.texture;{let y=f.image;return g&&y&&y.height>0||v&&y&&c(y)?(n===null&&(n=new Fh(i)),m=g?n.fromEquirectangular(f):n.fromCubemap(f),m.texture.pmremVersion=f.pmremVersion,t.set(f,m),f.addEventListener("dispose",u),m.texture):null}}}return f}function a(f,d){return d===Yc?f.mapping=dr:d===$c&&(f.mapping=So),f}function c(f){let d=0,g=6;for(let v=0;v<g;v++)f[v]!==void 0&&d++;return d===g}function l(f){let d=f.target;d.removeEventListener("dispose",l);let g=e.get(d);g!==void 0&&(e.delete(d),g.dispose())}function u(f){let d=f.target;d.removeEventListener("dispose",u);let g=t.get(d);g!==void 0&&(t.delete(d),g.dispose())}function h(){e=new WeakMap,t=new WeakMap,n!==null&&(n.dispose(),n=null)}return{get:s,dispose:h}}function Fw(i){let e={};function t(n){if(e[n]!==void 0)return e[n];let s=i.getExtension(n);return e[n]=s,s}return{has:function(n){return t(n)!==null},init:function(){t("EXT_color_buffer_float"),t("WEBGL_clip_cull_distance"),t("OES_texture_float_linear"),t("EXT_color_buffer_half_float"),t("WEBGL_multisampled_render_to_texture"),t("WEBGL_render_shared_exponent")},get:function(n){let s=t(n);return s===null&&ta("WebGLRenderer: "+n+" extension not supported."),s}}}function Ow(i,e,t,n){let s={},r=new WeakMap,o=new FinalizationRegistry(g=>delete s[g]);function a(g){c(g.target)}function c(g){g.index!==null&&e.remove(g.index);for(let m in g.attributes)e.remove(g.attributes[m]);g.removeEventListener("dispose",a),delete s[g.id],o.unregister(g);let v=r.get(g);v&&(e.remove(v),r.delete(g)),n.releaseStatesOfGeometry(g),g.isInstancedBufferGeometry===!0&&delete g._maxInstanceCount,t.memory.geometries--}function l(g,v){return s[v.id]!==void 0||(v.addEventListener("dispose",a),s[v.id]=new WeakRef(v),o.register(v,v.id,v),t.memory.geometries++),v}function u(g){let v=g.attributes;for(let m in v)e.update(v[m],i.ARRAY_BUFFER)}function h(g){let v=g.index,m=g.attributes.position,p=0;if(m===void 0)return;let y=v!==null?v.array.length:m.array.length/3-1,T=m.count>=65535?pa:da,S=new T(Math.ceil(y/3)*6,1),C=S.array;if(v!==null){let x=v.array;p=v.version;for(let A=0,F=0;A<y;A+=3){let L=x[A+0],I=x[A+1],k=x[A+2];C[F++]=L,C[F++]=I,C[F++]=I,C[F++]=k,C[F++]=k,C[F++]=L}}else{p=m.version;for(let x=0,A=0;x<y;x+=3){let F=x+0,L=x+1,I=x+2;C[A++]=F,C[A++]=L,C[A++]=L,C[A++]=I,C[A++]=I,C[A++]=F}}S.version=p;let E=r.get(g);E&&e.remove(E),r.set(g,S)}function f(g){let v=r.get(g);if(v){let m=g.index;m!==null&&v.version<m.version&&h(g)}else h(g);return r.get(g)}function d(){for(let g in s){let v=s[g].deref();v!==void 0&&c(v)}}return{get:l,update:u,getWireframeAttribute:f,dispose:d}}function Bw(i,e,t){let n;function s(h){n=h}let r,o;function a(h){r=h.type,o=h.bytesPerElement}function c(h,f){i.drawElements(n,f,r,h*o),t.update(f,n,1)}function l(h,f,d){d!==0&&(i.drawElementsInstanced(n,f,r,h*o,d),t.update(f,n,d))}function u(h,f,d){if(d===0)return;e.get("WEBGL_multi_draw").multiDrawElementsWEBGL(n,f,0,r,h,0,d);let v=0;for(let m=0;m<d;m++)v+=f[m];t.update(v,n,1)}this.setMode=s,this.setIndex=a,this.render=c,this.renderInstances=l,this.renderMultiDraw=u}function kw(i){let e={geometries:0,textures:0},t={frame:0,calls:0,triangles:0,points:0,lines:0};function n(r,o,a){switch(t.calls++,o){case i.TRIANGLES:t.triangles+=a*(r/3);break;case i.LINES:t.lines+=a*(r/2);break;case i.LINE_STRIP:t.lines+=a*(r-1);break;case i.LINE_LOOP:t.lines+=a*r;break;case i.POINTS:t.points+=a*r;break;default:et("WebGLInfo: Unknown draw mode:",o);break}}function s(){t.calls=0,t.triangles=0,t.points=0,t.lines=0}return{memory:e,render:t,programs:null,autoReset:!0,reset:s,update:n}}function zw(i,e,t){let n=new WeakMap,s=new Et;function r(o,a,c){let l=o.morphTargetInfluences,u=a.morphAttributes.position||a.morphAttributes.normal||a.morphAttributes.color,h=u!==void 0?u.length:0,f=n.get(a);if(f===void 0||f.count!==h){let F=function(){x.dispose(),n.delete(a),a.removeEventListener("dispose",F)};f!==void 0&&f.texture.dispose();let d=a.morphAttributes.position!==void 0,g=a.morphAttributes.normal!==void 0,v=a.morphAttributes.color!==void 0,m=a.morphAttributes.position||[],p=a.morphAttributes.normal||[],y=a.morphAttributes.color||[],T=0;d===!0&&(T=1),g===!0&&(T=2),v===!0&&(T=3);let S=a.attributes.position.count*T,C=1;S>e.maxTextureSize&&(C=Math.ceil(S/e.maxTextureSize),S=e.maxTextureSize);let E=new Float32Array(S*C*4*h),x=new ha(E,S,C,h);x.type=Ui,x.needsUpdate=!0;let A=T*4;for(let L=0;L<h;L++){let I=m[L],k=p[L],V=y[L],N=S*C*4*L;for(let W=0;W<I.count;W++){let $=W*A;d===!0&&(s.fromBufferAttribute(I,W),E[N+$+0]=s.x,E[N+$+1]=s.y,E[N+$+2]=s.z,E[N+$+3]=0),g===!0&&(s.fromBufferAttribute(k,W),E[N+$+4]=s.x,E[N+$+5]=s.y,E[N+$+6]=s.z,E[N+$+7]=0),v===!0&&(s.fromBufferAttribute(V,W),E[N+$+8]=s.x,E[N+$+9]=s.y,E[N+$+10]=s.z,E[N+$+11]=V.itemSize===4?s.w:1)}}f={count:h,texture:x,size:new He(S,C)},n.set(a,f),a.addEventListener("dispose",F)}if(o.isInstancedMesh===!0&&o.morphTexture!==null)c.getUniforms().setValue(i,"morphTexture",o.morphTexture,t);else{let d=0;for(let v=0;v<l.length;v++)d+=l[v];let g=a.morphTargetsRelative?1:1-d;c.getUniforms().setValue(i,"morphTargetBaseInfluence",g),c.getUniforms().setValue(i,"morphTargetInfluences",l)}c.getUniforms().setValue(i,"morphTargetsTexture",f.texture,t),c.getUniforms().setValue(i,"morphTargetsTextureSize",f.size)}return{update:r}}function Vw(i,e,t,n,s){let r=new WeakMap;function o(l){let u=s.render.frame,h=l.geometry,f=e.get(l,h);if(r.get(f)!==u&&(e.update(f),r.set(f,u)),l.isInstancedMesh&&(l.hasEventListener("dispose",c)===!1&&l.addEventListener("dispose",c),r.get(l)!==u&&(t.update(l.instanceMatrix,i.ARRAY_BUFFER),l.instanceColor!==null&&t.update(l.instanceColor,i.ARRAY_BUFFER),r.set(l,u))),l.isSkinnedMesh){let d=l.skeleton;r.get(d)!==u&&(d.update(),r.set(d,u))}return f}function a(){r=new WeakMap}function c(l){let u=l.target;u.removeEventListener("dispose",c),n.releaseStatesOfObject(u),t.remove(u.instanceMatrix),u.instanceColor!==null&&t.remove(u.instanceColor)}return{update:o,dispose:a}}var Gw={[$f]:"LINEAR_TONE_MAPPING",[Zf]:"REINHARD_TONE_MAPPING",[Jf]:"CINEON_TONE_MAPPING",[Kf]:"ACES_FILMIC_TONE_MAPPING",[Qf]:"AGX_TONE_MAPPING",[ed]:"NEUTRAL_TONE_MAPPING",[jf]:"CUSTOM_TONE_MAPPING"};function Hw(i,e,t,n,s,r){let o=new fi(e,t,{type:i,depthBuffer:s,stencilBuffer:r,samples:n?4:0,storeMultisampledDepthBuffer:!1,storeMultisampledStencilBuffer:!1,resolveDepthBuffer:!1,resolveStencilBuffer:!1}),a=null,c=null,l=null,u=new Qt;u.setAttribute("position",new mt([-1,3,0,-1,-1,0,3,-1,0],3)),u.setAttribute("uv",new mt([0,2,0,0,2,0],2));let h=new Pc({uniforms:{tDiffuse:{value:null}},vertexShader:`
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
			}`,depthTest:!1,depthWrite:!1}),f=new en(u,h),d=new Ia(-1,1,1,-1,0,1),g=null,v=null,m=!1,p,y=null,T=[],S=!1;this.setSize=function(C,E){o.setSize(C,E),a!==null&&a.setSize(C,E),c!==null&&c.setSize(C,E);for(let x=0;x<T.length;x++){let A=T[x];A.setSize&&A.setSize(C,E)}},this.setEffects=function(C){T=C,S=T.length>0&&T[0].isRenderPass===!0;let E=o.width,x=o.height;T.length>0&&a===null&&(a=new fi(E,x,{type:Fi,depthBuffer:!1,stencilBuffer:!1}),c=new fi(E,x,{type:Fi,depthBuffer:!1,stencilBuffer:!1}));let A=s===!0&&T.some(F=>F.needsDepthTexture===!0);A!==(o.depthTexture!==null)&&(A===!0&&l===null&&(l=new Ss(E,x),r===!0&&(l.format=Ms,l.type=pr)),o.dispose(),o.depthTexture=A?l:null,o.resolveDepthBuffer=A,o.storeMultisampledDepthBuffer=A);for(let F=0;F<T.length;F++){let L=T[F];L.setSize&&L.setSize(E,x),A&&L.needsDepthTexture===!0&&L.setDepthTexture&&L.setDepthTexture(l)}},this.begin=function(C,E){if(m||C.toneMapping===Ki&&T.length===0)return!1;if(y=E,E!==null){let x=E.width,A=E.height;(o.width!==x||o.height!==A)&&this.setSize(x,A)}return S===!1&&C.setRenderTarget(o),p=C.toneMapping,C.toneMapping=Ki,!0},this.hasRenderPass=function(){return S},this.end=function(C,E){C.toneMapping=p,m=!0;let x=o,A=a;for(let F=0;F<T.length;F++){let L=T[F];L.enabled!==!1&&(L.render(C,A,x,E),L.needsSwap!==!1&&(x=A,A=A===a?c:a))}if(g!==C.outputColorSpace||v!==C.toneMapping){g=C.outputColorSpace,v=C.toneMapping,h.defines={},xt.getTransfer(g)===At&&(h.defines.SRGB_TRANSFER="");let F=Gw[v];F&&(h.defines[F]=""),h.needsUpdate=!0}h.uniforms.tDiffuse.value=x.texture,C.setRenderTarget(y),C.render(f,d),y=null,m=!1},this.isCompositing=function(){return m},this.dispose=function(){o.dispose(),a!==null&&a.dispose(),c!==null&&c.dispose(),u.dispose(),h.dispose()}}var A_=new Kn,E_=new Ss(1,1),T_=new _a(1),C_=new ha,R_=new mc,P_=new ga,s_=[],r_=[],o_=new Float32Array(16),a_=new Float32Array(9),l_=new Float32Array(4);function wo(i,e,t){let n=i[0];if(n<=0||n>0)return i;let s=e*t,r=s_[s];if(r===void 0&&(r=new Float32Array(s),s_[s]=r),e!==0){n.toArray(r,0);for(let o=1,a=0;o!==e;++o)a+=t,i[o].toArray(r,a)}return r}function xn(i,e){if(i.length!==e.length)return!1;for(let t=0,n=i.length;t<n;t++)if(i[t]!==e[t])return!1;return!0}function yn(i,e){for(let t=0,n=e.length;t<n;t++)i[t]=e[t]}function Bh(i,e){let t=r_[e];t===void 0&&(t=new Int32Array(e),r_[e]=t);for(let n=0;n!==e;++n)t[n]=i.allocateTextureUnit();return t}function Ww(i,e){let t=this.cache;t[0]!==e&&(i.uniform1f(this.addr,e),t[0]=e)}function Xw(i,e){let t=this.cache;if(e.x!==void 0)(t[0]!==e.x||t[1]!==e.y)&&(i.uniform2f(this.addr,e.x,e.y),t[0]=e.x,t[1]=e.y);else{if(xn(t,e))return;i.uniform2fv(this.addr,e),yn(t,e)}}function qw(i,e){let t=this.cache;if(e.x!==void 0)(t[0]!==e.x||t[1]!==e.y||t[2]!==e.z)&&(i.uniform3f(this.addr,e.x,e.y,e.z),t[0]=e.x,t[1]=e.y,t[2]=e.z);else if(e.r!==void 0)(t[0]!==e.r||t[1]!==e.g||t[2]!==e.b)&&(i.uniform3f(this.addr,e.r,e.g,e.b),t[0]=e.r,t[1]=e.g,t[2]=e.b);else{if(xn(t,e))return;i.uniform3fv(this.addr,e),yn(t,e)}}function Yw(i,e){let t=this.cache;if(e.x!==void 0)(t[0]!==e.x||t[1]!==e.y||t[2]!==e.z||t[3]!==e.w)&&(i.uniform4f(this.addr,e.x,e.y,e.z,e.w),t[0]=e.x,t[1]=e.y,t[2]=e.z,t[3]=e.w);else{if(xn(t,e))return;i.uniform4fv(this.addr,e),yn(t,e)}}function $w(i,e){let t=this.cache,n=e.elements;if(n===void 0){if(xn(t,e))return;i.uniformMatrix2fv(this.addr,!1,e),yn(t,e)}else{if(xn(t,n))return;l_.set(n),i.uniformMatrix2fv(this.addr,!1,l_),yn(t,n)}}function Zw(i,e){let t=this.cache,n=e.elements;if(n===void 0){if(xn(t,e))return;i.uniformMatrix3fv(this.addr,!1,e),yn(t,e)}else{if(xn(t,n))return;a_.set(n),i.uniformMatrix3fv(this.addr,!1,a_),yn(t,n)}}function Jw(i,e){let t=this.cache,n=e.elements;if(n===void 0){if(xn(t,e))return;i.uniformMatrix4fv(this.addr,!1,e),yn(t,e)}else{if(xn(t,n))return;o_.set(n),i.uniformMatrix4fv(this.addr,!1,o_),yn(t,n)}}function Kw(i,e){let t=this.cache;t[0]!==e&&(i.uniform1i(this.addr,e),t[0]=e)}function jw(i,e){let t=this.cache;if(e.x!==void 0)(t[0]!==e.x||t[1]!==e.y)&&(i.uniform2i(this.addr,e.x,e.y),t[0]=e.x,t[1]=e.y);else{if(xn(t,e))return;i.uniform2iv(this.addr,e),yn(t,e)}}function Qw(i,e){let t=this.cache;if(e.x!==void 0)(t[0]!==e.x||t[1]!==e.y||t[2]!==e.z)&&(i.uniform3i(this.addr,e.x,e.y,e.z),t[0]=e.x,t[1]=e.y,t[2]=e.z);else{if(xn(t,e))return;i.uniform3iv(this.addr,e),yn(t,e)}}function e1(i,e){let t=this.cache;if(e.x!==void 0)(t[0]!==e.x||t[1]!==e.y||t[2]!==e.z||t[3]!==e.w)&&(i.uniform4i(this.addr,e.x,e.y,e.z,e.w),t[0]=e.x,t[1]=e.y,t[2]=e.z,t[3]=e.w);else{if(xn(t,e))return;i.uniform4iv(this.addr,e),yn(t,e)}}function t1(i,e){let t=this.cache;t[0]!==e&&(i.uniform1ui(this.addr,e),t[0]=e)}function n1(i,e){let t=this.cache;if(e.x!==void 0)(t[0]!==e.x||t[1]!==e.y)&&(i.uniform2ui(this.addr,e.x,e.y),t[0]=e.x,t[1]=e.y);else{if(xn(t,e))return;i.uniform2uiv(this.addr,e),yn(t,e)}}function i1(i,e){let t=this.cache;if(e.x!==void 0)(t[0]!==e.x||t[1]!==e.y||t[2]!==e.z)&&(i.uniform3ui(this.addr,e.x,e.y,e.z),t[0]=e.x,t[1]=e.y,t[2]=e.z);else{if(xn(t,e))return;i.uniform3uiv(this.addr,e),yn(t,e)}}function s1(i,e){let t=this.cache;if(e.x!==void 0)(t[0]!==e.x||t[1]!==e.y||t[2]!==e.z||t[3]!==e.w)&&(i.uniform4ui(this.addr,e.x,e.y,e.z,e.w),t[0]=e.x,t[1]=e.y,t[2]=e.z,t[3]=e.w);else{if(xn(t,e))return;i.uniform4uiv(this.addr,e),yn(t,e)}}function kh(i){return i.version===0&&(i.compareFunction=ud,i.needsUpdate=!0),i}function r1(i,e,t){let n=this.cache,s=t.allocateTextureUnit();n[0]!==s&&(i.uniform1i(this.addr,s),n[0]=s);let r;this.type===i.SAMPLER_2D_SHADOW?r=kh(E_):r=A_,t.setTexture2D(e||r,s)}function o1(i,e,t){let n=this.cache,s=t.allocateTextureUnit();n[0]!==s&&(i.uniform1i(this.addr,s),n[0]=s),t.setTexture3D(e||R_,s)}function a1(i,e,t){let n=this.cache,s=t.allocateTextureUnit();n[0]!==s&&(i.uniform1i(this.addr,s),n[0]=s);let r;this.type===i.SAMPLER_CUBE_SHADOW?r=kh(T_):r=P_,t.setTextureCube(e||r,s)}function l1(i,e,t){let n=this.cache,s=t.allocateTextureUnit();n[0]!==s&&(i.uniform1i(this.addr,s),n[0]=s),t.setTexture2DArray(e||C_,s)}function c1(i){switch(i){case 5126:return Ww;case 35664:return Xw;case 35665:return qw;case 35666:return Yw;case 35674:return $w;case 35675:return Zw;case 35676:return Jw;case 5124:case 35670:return Kw;case 35667:case 35671:return jw;case 35668:case 35672:return Qw;case 35669:case 35673:return e1;case 5125:return t1;case 36294:return n1;case 36295:return i1;case 36296:return s1;case 35678:case 36198:case 36298:case 36306:case 35682:return r1;case 35679:case 36299:case 36307:return o1;case 35680:case 36300:case 36308:case 36293:return a1;case 36289:case 36303:case 36311:case 36292:return l1}}function h1(i,e){i.uniform1fv(this.addr,e)}function u1(i,e){let t=wo(e,this.size,2);i.uniform2fv(this.addr,t)}function f1(i,e){let t=wo(e,this.size,3);i.uniform3fv(this.addr,t)}function d1(i,e){let t=wo(e,this.size,4);i.uniform4fv(this.addr,t)}function p1(i,e){let t=wo(e,this.size,4);i.uniformMatrix2fv(this.addr,!1,t)}function m1(i,e){let t=wo(e,this.size,9);i.uniformMatrix3fv(this.addr,!1,t)}function g1(i,e){let t=wo(e,this.size,16);i.uniformMatrix4fv(this.addr,!1,t)}function _1(i,e){i.uniform1iv(this.addr,e)}function x1(i,e){i.uniform2iv(this.addr,e)}function y1(i,e){i.uniform3iv(this.addr,e)}function v1(i,e){i.uniform4iv(this.addr,e)}function S1(i,e){i.uniform1uiv(this.addr,e)}function b1(i,e){i.uniform2uiv(this.addr,e)}function M1(i,e){i.uniform3uiv(this.addr,e)}function w1(i,e){i.uniform4uiv(this.addr,e)}function A1(i,e,t){let n=this.cache,s=e.length,r=Bh(t,s);xn(n,r)||(i.uniform1iv(this.addr,r),yn(n,r));let o;this.type===i.SAMPLER_2D_SHADOW?o=kh(E_):o=A_;for(let a=0;a!==s;++a)t.setTexture2D(e[a]||o,r[a])}function E1(i,e,t){let n=this.cache,s=e.length,r=Bh(t,s);xn(n,r)||(i.uniform1iv(this.addr,r),yn(n,r));for(let o=0;o!==s;++o)t.setTexture3D(e[o]||R_,r[o])}function T1(i,e,t){let n=this.cache,s=e.length,r=Bh(t,s);xn(n,r)||(i.uniform1iv(this.addr,r),yn(n,r));let o;this.type===i.SAMPLER_CUBE_SHADOW?o=kh(T_):o=P_;for(let a=0;a!==s;++a)t.setTextureCube(e[a]||o,r[a])}function C1(i,e,t){let n=this.cache,s=e.length,r=Bh(t,s);xn(n,r)||(i.uniform1iv(this.addr,r),yn(n,r));for(let o=0;o!==s;++o)t.setTexture2DArray(e[o]||C_,r[o])}function R1(i){switch(i){case 5126:return h1;case 35664:return u1;case 35665:return f1;case 35666:return d1;case 35674:return p1;case 35675:return m1;case 35676:return g1;case 5124:case 35670:return _1;case 35667:case 35671:return x1;case 35668:case 35672:return y1;case 35669:case 35673:return v1;case 5125:return S1;case 36294:return b1;case 36295:return M1;case 36296:return w1;case 35678:case 36198:case 36298:case 36306:case 35682:return A1;case 35679:case 36299:case 36307:return E1;case 35680:case 36300:case 36308:case 36293:return T1;case 36289:case 36303:case 36311:case 36292:return C1}}var Id=class{constructor(e,t,n){this.id=e,this.addr=n,this.cache=[],this.type=t.type,this.setValue=c1(t.type)}},Ld=class{constructor(e,t,n){this.id=e,this.addr=n,this.cache=[],this.type=t.type,this.size=t.size,this.setValue=R1(t.type)}},Dd=class{constructor(e){this.id=e,this.seq=[],this.map={}}setValue(e,t,n){let s=this.seq;for(let r=0,o=s.length;r!==o;++r){let a=s[r];a.setValue(e,t[a.id],n)}}},Rd=/(\w+)(\])?(\[|\.)?/g;function c_(i,e){i.seq.push(e),i.map[e.id]=e}function P1(i,e,t){let n=i.name,s=n.length;for(Rd.lastIndex=0;;){let r=Rd.exec(n),o=Rd.lastIndex,a=r[1],c=r[2]==="]",l=r[3];if(c&&(a=a|0),l===void 0||l==="["&&o+2===s){c_(t,l===void 0?new Id(a,i,e):new Ld(a,i,e));break}else{let h=t.map[a];h===void 0&&(h=new Dd(a),c_(t,h)),t=h}}}var Mo=class{constructor(e,t){this.seq=[],this.map={};let n=e.getProgramParameter(t,e.ACTIVE_UNIFORMS);for(let o=0;o<n;++o){let a=e.getActiveUniform(t,o),c=e.getUniformLocation(t,a.name);P1(a,c,this)}let s=[],r=[];for(let o of this.seq)o.type===e.SAMPLER_2D_SHADOW||o.type===e.SAMPLER_CUBE_SHADOW||o.type===e.SAMPLER_2D_ARRAY_SHADOW?s.push(o):r.push(o);s.length>0&&(this.seq=s.concat(r))}setValue(e,t,n,s){let r=this.map[t];r!==void 0&&r.setValue(e,n,s)}setOptional(e,t,n){let s=t[n];s!==void 0&&this.setValue(e,n,s)}static upload(e,t,n,s){for(let r=0,o=t.length;r!==o;++r){let a=t[r],c=n[a.id];c.needsUpdate!==!1&&a.setValue(e,c.value,s)}}static seqWithValue(e,t){let n=[];for(let s=0,r=e.length;s!==r;++s){let o=e[s];o.id in t&&n.push(o)}return n}};function h_(i,e,t){let n=i.createShader(e);return i.shaderSource(n,t),i.compileShader(n),n}var I1=37297,L1=0;function D1(i,e){let t=i.split(`
`),n=[],s=Math.max(e-6,0),r=Math.min(e+6,t.length);for(let o=s;o<r;o++){let a=o+1;n.push(`${a===e?">":" "} ${a}: ${t[o]}`)}return n.join(`
`)}var u_=new tt;function N1(i){xt._getMatrix(u_,xt.workingColorSpace,i);let e=`mat3( ${u_.elements.map(t=>t.toFixed(4))} )`;switch(xt.getTransfer(i)){case aa:return[e,"LinearTransferOETF"];case At:return[e,"sRGBTransferOETF"];default:return Ye("WebGLProgram: Unsupported color space: ",i),[e,"LinearTransferOETF"]}}function f_(i,e,t){let n=i.getShaderParameter(e,i.COMPILE_STATUS),r=(i.getShaderInfoLog(e)||"").trim();if(n&&r==="")return"";let o=/ERROR: 0:(\d+)/.exec(r);if(o){let a=parseInt(o[1]);return t.toUpperCase()+`

`+r+`

`+D1(i.getShaderSource(e),a)}else return r}function U1(i,e){let t=N1(e);return[`vec4 ${i}( vec4 value ) {`,`	return ${t[1]}( vec4( ${t[0]} * value.rgb, value.a ) );`,"}"].join(`
`)}var F1={[$f]:"Linear",[Zf]:"Reinhard",[Jf]:"Cineon",[Kf]:"ACESFilmic",[Qf]:"AgX",[ed]:"Neutral",[jf]:"Custom"};function O1(i,e){let t=F1[e];return t===void 0?(Ye("WebGLProgram: Unsupported toneMapping:",e),"vec3 "+i+"( vec3 color ) { return LinearToneMapping( color ); }"):"vec3 "+i+"( vec3 color ) { return "+t+"ToneMapping( color ); }"}var Uh=new U;function B1(){xt.getLuminanceCoefficients(Uh);let i=Uh.x.toFixed(4),e=Uh.y.toFixed(4),t=Uh.z.toFixed(4);return["float luminance( const in vec3 rgb ) {",`	const vec3 weights = vec3( ${i}, ${e}, ${t} );`,"	return dot( weights, rgb );","}"].join(`
`)}function k1(i){return[i.extensionClipCullDistance?"#extension GL_ANGLE_clip_cull_distance : require":"",i.extensionMultiDraw?"#extension GL_ANGLE_multi_draw : require":""].filter(qa).join(`
`)}function z1(i){let e=[];for(let t in i){let n=i[t];n!==!1&&e.push("#define "+t+" "+n)}return e.join(`
`)}function V1(i,e){let t={},n=i.getProgramParameter(e,i.ACTIVE_ATTRIBUTES);for(let s=0;s<n;s++){let r=i.getActiveAttrib(e,s),o=r.name,a=1;r.type===i.FLOAT_MAT2&&(a=2),r.type===i.FLOAT_MAT3&&(a=3),r.type===i.FLOAT_MAT4&&(a=4),t[o]={type:r.type,location:i.getAttribLocation(e,o),locationSize:a}}return t}function qa(i){return i!==""}function d_(i,e){let t=e.numSpotLightShadows+e.numSpotLightMaps-e.numSpotLightShadowsWithMaps;return i.replace(/NUM_SUN_LIGHTS/g,e.numSunLights).replace(/NUM_DIR_LIGHTS/g,e.numDirLights).replace(/NUM_SPOT_LIGHTS/g,e.numSpotLights).replace(/NUM_SPOT_LIGHT_MAPS/g,e.numSpotLightMaps).replace(/NUM_SPOT_LIGHT_COORDS/g,t).replace(/NUM_RECT_AREA_LIGHTS/g,e.numRectAreaLights).replace(/NUM_POINT_LIGHTS/g,e.numPointLights).replace(/NUM_HEMI_LIGHTS/g,e.numHemiLights).replace(/NUM_SUN_LIGHT_SHADOWS/g,e.numSunLightShadows).replace(/NUM_DIR_LIGHT_SHADOWS/g,e.numDirLightShadows).replace(/NUM_SPOT_LIGHT_SHADOWS_WITH_MAPS/g,e.numSpotLightShadowsWithMaps).replace(/NUM_SPOT_LIGHT_SHADOWS/g,e.numSpotLightShadows).replace(/NUM_POINT_LIGHT_SHADOWS/g,e.numPointLightShadows).replace(/NUM_LIGHT_PROBE_GRIDS/g,e.numLightProbeGrids)}function p_(i,e){return i.replace(/NUM_CLIPPING_PLANES/g,e.numClippingPlanes).replace(/UNION_CLIPPING_PLANES/g,e.numClippingPlanes-e.numClipIntersection)}var G1=/^[ \t]*#include +<([\w\d./]+)>/gm;function Nd(i){return i.replace(G1,H1)}function H1(i,e){let t=ht[e];if(t===void 0)throw new Error("THREE.WebGLProgram: Can not resolve #include <"+e+">");return Nd(t)}var W1=/#pragma unroll_loop_start\s+for\s*\(\s*int\s+i\s*=\s*(\d+)\s*;\s*i\s*<\s*(\d+)\s*;\s*i\s*\+\+\s*\)\s*{([\s\S]+?)}\s+#pragma unroll_loop_end/g;function m_(i){return i.replace(W1,X1)}function X1(i,e,t,n){let s="";for(let r=parseInt(e);r<parseInt(t);r++)s+=n.replace(/\[\s*i\s*\]/g,"[ "+r+" ]").replace(/UNROLLED_LOOP_INDEX/g,r);return s}function g_(i){let e=`precision ${i.precision} float;
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
#define LOW_PRECISION`),e}var q1={[Fa]:"SHADOWMAP_TYPE_PCF",[yo]:"SHADOWMAP_TYPE_VSM"};function Y1(i){return q1[i.shadowMapType]||"SHADOWMAP_TYPE_BASIC"}var $1={[So]:"ENVMAP_MODE_REFRACTION"};function Z1(i){return i.envMap===!1?"ENVMAP_MODE_REFLECTION":$1[i.envMapMode]||"ENVMAP_MODE_REFLECTION"}var J1={[qc]:"ENVMAP_BLENDING_MULTIPLY",[F0]:"ENVMAP_BLENDING_MIX",[O0]:"ENVMAP_BLENDING_ADD"};function K1(i){return i.envMap===!1?"ENVMAP_BLENDING_NONE":J1[i.combine]||"ENVMAP_BLENDING_NONE"}function j1(i,e,t,n){let s=i.getContext(),r=t.defines,o=t.vertexShader,a=t.fragmentShader,c=Y1(t),l=t.envMapPMREM===!0?"ENVMAP_TYPE_PMREM":"ENVMAP_TYPE_CUBE",u=Z1(t),h=K1(t),f=k1(t),d=z1(r),g=s.createProgram(),v,m,p=t.glslVersion?"#version "+t.glslVersion+`
`:"";t.isRawShaderMaterial?(v=["#define SHADER_TYPE "+t.shaderType,"#define SHADER_NAME "+t.shaderName,d].filter(qa).join(`
`),v.length>0&&(v+=`
`),m=["#define SHADER_TYPE "+t.shaderType,"#define SHADER_NAME "+t.shaderName,d].filter(qa).join(`
`),m.length>0&&(m+=`
`)):(v=[g_(t),"#define SHADER_TYPE "+t.shaderType,"#define SHADER_NAME "+t.shaderName,d,t.extensionClipCullDistance?"#define USE_CLIP_DISTANCE":"",t.batching?"#define USE_BATCHING":"",t.batchingColor?"#define USE_BATCHING_COLOR":"",t.instancing?"#define USE_INSTANCING":"",t.instancingColor?"#define USE_INSTANCING_COLOR":"",t.instancingMorph?"#define USE_INSTANCING_MORPH":"",t.useFog&&t.fog?"#define USE_FOG":"",t.useFog&&t.fogExp2?"#define FOG_EXP2":"",t.map?"#define USE_MAP":"",t.envMap?"#define USE_ENVMAP":"",t.envMap?"#define "+u:"",t.lightMap?"#define USE_LIGHTMAP":"",t.aoMap?"#define USE_AOMAP":"",t.bumpMap?"#define USE_BUMPMAP":"",t.normalMap?"#define USE_NORMALMAP":"",t.normalMapObjectSpace?"#define USE_NORMALMAP_OBJECTSPACE":"",t.normalMapTangentSpace?"#define USE_NORMALMAP_TANGENTSPACE":"",t.displacementMap?"#define USE_DISPLACEMENTMAP":"",t.emissiveMap?"#define USE_EMISSIVEMAP":"",t.anisotropy?"#define USE_ANISOTROPY":"",t.anisotropyMap?"#define USE_ANISOTROPYMAP":"",t.clearcoatMap?"#define USE_CLEARCOATMAP":"",t.clearcoatRoughnessMap?"#define USE_CLEARCOAT_ROUGHNESSMAP":"",t.clearcoatNormalMap?"#define USE_CLEARCOAT_NORMALMAP":"",t.diffuseRoughnessMap?"#define USE_DIFFUSE_ROUGHNESSMAP":"",t.iridescenceMap?"#define USE_IRIDESCENCEMAP":"",t.iridescenceThicknessMap?"#define USE_IRIDESCENCE_THICKNESSMAP":"",t.specularMap?"#define USE_SPECULARMAP":"",t.specularColorMap?"#define USE_SPECULAR_COLORMAP":"",t.specularIntensityMap?"#define USE_SPECULAR_INTENSITYMAP":"",t.roughnessMap?"#define USE_ROUGHNESSMAP":"",t.metalnessMap?"#define USE_METALNESSMAP":"",t.alphaMap?"#define USE_ALPHAMAP":"",t.alphaHash?"#define USE_ALPHAHASH":"",t.transmission?"#define USE_TRANSMISSION":"",t.transmissionMap?"#define USE_TRANSMISSIONMAP":"",t.thicknessMap?"#define USE_THICKNESSMAP":"",t.sheenColorMap?"#define USE_SHEEN_COLORMAP":"",t.sheenRoughnessMap?"#define USE_SHEEN_ROUGHNESSMAP":"",t.mapUv?"#define MAP_UV "+t.mapUv:"",t.alphaMapUv?"#define ALPHAMAP_UV "+t.alphaMapUv:"",t.lightMapUv?"#define LIGHTMAP_UV "+t.lightMapUv:"",t.aoMapUv?"#define AOMAP_UV "+t.aoMapUv:"",t.emissiveMapUv?"#define EMISSIVEMAP_UV "+t.emissiveMapUv:"",t.bumpMapUv?"#define BUMPMAP_UV "+t.bumpMapUv:"",t.normalMapUv?"#define NORMALMAP_UV "+t.normalMapUv:"",t.displacementMapUv?"#define DISPLACEMENTMAP_UV "+t.displacementMapUv:"",t.metalnessMapUv?"#define METALNESSMAP_UV "+t.metalnessMapUv:"",t.roughnessMapUv?"#define ROUGHNESSMAP_UV "+t.roughnessMapUv:"",t.anisotropyMapUv?"#define ANISOTROPYMAP_UV "+t.anisotropyMapUv:"",t.clearcoatMapUv?"#define CLEARCOATMAP_UV "+t.clearcoatMapUv:"",t.clearcoatNormalMapUv?"#define CLEARCOAT_NORMALMAP_UV "+t.clearcoatNormalMapUv:"",t.clearcoatRoughnessMapUv?"#define CLEARCOAT_ROUGHNESSMAP_UV "+t.clearcoatRoughnessMapUv:"",t.diffuseRoughnessMapUv?"#define DIFFUSE_ROUGHNESSMAP_UV "+t.diffuseRoughnessMapUv:"",t.iridescenceMapUv?"#define IRIDESCENCEMAP_UV "+t.iridescenceMapUv:"",t.iridescenceThicknessMapUv?"#define IRIDESCENCE_THICKNESSMAP_UV "+t.iridescenceThicknessMapUv:"",t.sheenColorMapUv?"#define SHEEN_COLORMAP_UV "+t.sheenColorMapUv:"",t.sheenRoughnessMapUv?"#define SHEEN_ROUGHNESSMAP_UV "+t.sheenRoughnessMapUv:"",t.specularMapUv?"#define SPECULARMAP_UV "+t.specularMapUv:"",t.specularColorMapUv?"#define SPECULAR_COLORMAP_UV "+t.specularColorMapUv:"",t.specularIntensityMapUv?"#define SPECULAR_INTENSITYMAP_UV "+t.specularIntensityMapUv:"",t.transmissionMapUv?"#define TRANSMISSIONMAP_UV "+t.transmissionMapUv:"",t.thicknessMapUv?"#define THICKNESSMAP_UV "+t.thicknessMapUv:"",t.vertexTangents&&t.flatShading===!1?"#define USE_TANGENT":"",t.vertexNormals?"#define HAS_NORMAL":"",t.vertexColors?"#define USE_COLOR":"",t.vertexAlphas?"#define USE_COLOR_ALPHA":"",t.vertexUv1s?"#define USE_UV1":"",t.vertexUv2s?"#define USE_UV2":"",t.vertexUv3s?"#define USE_UV3":"",t.pointsUvs?"#define USE_POINTS_UV":"",t.flatShading?"#define FLAT_SHADED":"",t.skinning?"#define USE_SKINNING":"",t.morphTargets?"#define USE_MORPHTARGETS":"",t.morphNormals&&t.flatShading===!1?"#define USE_MORPHNORMALS":"",t.morphColors?"#define USE_MORPHCOLORS":"",t.morphTargetsCount>0?"#define MORPHTARGETS_TEXTURE_STRIDE "+t.morphTextureStride:"",t.morphTargetsCount>0?"#define MORPHTARGETS_COUNT "+t.morphTargetsCount:"",t.doubleSided?"#define DOUBLE_SIDED":"",t.flipSided?"#define FLIP_SIDED":"",t.shadowMapEnabled?"#define USE_SHADOWMAP":"",t.shadowMapEnabled?"#define "+c:"",t.sizeAttenuation?"#define USE_SIZEATTENUATION":"",t.numLightProbes>0?"#define USE_LIGHT_PROBES":"",t.logarithmicDepthBuffer?"#define USE_LOGARITHMIC_DEPTH_BUFFER":"",t.reversedDepthBuffer?"#define USE_REVERSED_DEPTH_BUFFER":"","uniform mat4 modelMatrix;","uniform mat4 modelViewMatrix;","uniform mat4 projectionMatrix;","uniform mat4 viewMatrix;","uniform mat3 normalMatrix;","uniform vec3 cameraPosition;","uniform bool isOrthographic;","#ifdef USE_INSTANCING","	attribute mat4 instanceMatrix;","#endif","#ifdef USE_INSTANCING_COLOR","	attribute vec3 instanceColor;","#endif","#ifdef USE_INSTANCING_MORPH","	uniform sampler2D morphTexture;","#endif","attribute vec3 position;","attribute vec3 normal;","attribute vec2 uv;","#ifdef USE_UV1","	attribute vec2 uv1;","#endif","#ifdef USE_UV2","	attribute vec2 uv2;","#endif","#ifdef USE_UV3","	attribute vec2 uv3;","#endif","#ifdef USE_TANGENT","	attribute vec4 tangent;","#endif","#if defined( USE_COLOR_ALPHA )","	attribute vec4 color;","#elif defined( USE_COLOR )","	attribute vec3 color;","#endif","#ifdef USE_SKINNING","	attribute vec4 skinIndex;","	attribute vec4 skinWeight;","#endif",`
`].filter(qa).join(`
`),m=[g_(t),"#define SHADER_TYPE "+t.shaderType,"#define SHADER_NAME "+t.shaderName,d,t.useFog&&t.fog?"#define USE_FOG":"",t.useFog&&t.fogExp2?"#define FOG_EXP2":"",t.alphaToCoverage?"#define ALPHA_TO_COVERAGE":"",t.map?"#define USE_MAP":"",t.matcap?"#define USE_MATCAP":"",t.envMap?"#define USE_ENVMAP":"",t.envMap?"#define "+l:"",t.envMap?"#define "+u:"",t.envMap?"#define "+h:"",t.envMapPMREM?"#define ENVMAP_MAX_LOD "+t.envMapMaxLod+".0":"",t.envMapPMREM?"#define ENVMAP_SIZE "+t.envMapSize+".0":"",t.lightMap?"#define USE_LIGHTMAP":"",t.aoMap?"#define USE_AOMAP":"",t.bumpMap?"#define USE_BUMPMAP":"",t.normalMap?"#define USE_NORMALMAP":"",t.normalMapObjectSpace?"#define USE_NORMALMAP_OBJECTSPACE":"",t.normalMapTangentSpace?"#define USE_NORMALMAP_TANGENTSPACE":"",t.packedNormalMap?"#define USE_PACKED_NORMALMAP":"",t.emissiveMap?"#define USE_EMISSIVEMAP":"",t.anisotropy?"#define USE_ANISOTROPY":"",t.anisotropyMap?"#define USE_ANISOTROPYMAP":"",t.clearcoat?"#define USE_CLEARCOAT":"",t.clearcoatMap?"#define USE_CLEARCOATMAP":"",t.clearcoatRoughnessMap?"#define USE_CLEARCOAT_ROUGHNESSMAP":"",t.clearcoatNormalMap?"#define USE_CLEARCOAT_NORMALMAP":"",t.diffuseRoughness?"#define USE_DIFFUSE_ROUGHNESS":"",t.diffuseRoughnessMap?"#define USE_DIFFUSE_ROUGHNESSMAP":"",t.dispersion?"#define USE_DISPERSION":"",t.retroreflection?"#define USE_RETROREFLECTION":"",t.iridescence?"#define USE_IRIDESCENCE":"",t.iridescenceMap?"#define USE_IRIDESCENCEMAP":"",t.iridescenceThicknessMap?"#define USE_IRIDESCENCE_THICKNESSMAP":"",t.specularMap?"#define USE_SPECULARMAP":"",t.specularColorMap?"#define USE_SPECULAR_COLORMAP":"",t.specularIntensityMap?"#define USE_SPECULAR_INTENSITYMAP":"",t.roughnessMap?"#define USE_ROUGHNESSMAP":"",t.metalnessMap?"#define USE_METALNESSMAP":"",t.alphaMap?"#define USE_ALPHAMAP":"",t.alphaTest?"#define USE_ALPHATEST":"",t.alphaHash?"#define USE_ALPHAHASH":"",t.sheen?"#define USE_SHEEN":"",t.sheenColorMap?"#define USE_SHEEN_COLORMAP":"",t.sheenRoughnessMap?"#define USE_SHEEN_ROUGHNESSMAP":"",t.transmission?"#define USE_TRANSMISSION":"",t.transmissionMap?"#define USE_TRANSMISSIONMAP":"",t.thicknessMap?"#define USE_THICKNESSMAP":"",t.vertexTangents&&t.flatShading===!1?"#define USE_TANGENT":"",t.vertexColors||t.instancingColor?"#define USE_COLOR":"",t.vertexAlphas||t.batchingColor?"#define USE_COLOR_ALPHA":"",t.vertexUv1s?"#define USE_UV1":"",t.vertexUv2s?"#define USE_UV2":"",t.vertexUv3s?"#define USE_UV3":"",t.pointsUvs?"#define USE_POINTS_UV":"",t.gradientMap?"#define USE_GRADIENTMAP":"",t.flatShading?"#define FLAT_SHADED":"",t.doubleSided?"#define DOUBLE_SIDED":"",t.flipSided?"#define FLIP_SIDED":"",t.shadowMapEnabled?"#define USE_SHADOWMAP":"",t.shadowMapEnabled?"#define "+c:"",t.premultipliedAlpha?"#define PREMULTIPLIED_ALPHA":"",t.numLightProbes>0?"#define USE_LIGHT_PROBES":"",t.decodeVideoTexture?"#define DECODE_VIDEO_TEXTURE":"",t.decodeVideoTextureEmissive?"#define DECODE_VIDEO_TEXTURE_EMISSIVE":"",t.logarithmicDepthBuffer?"#define USE_LOGARITHMIC_DEPTH_BUFFER":"",t.reversedDepthBuffer?"#define USE_REVERSED_DEPTH_BUFFER":"","uniform mat4 viewMatrix;","uniform vec3 cameraPosition;","uniform bool isOrthographic;",t.toneMapping!==Ki?"#define TONE_MAPPING":"",t.toneMapping!==Ki?ht.tonemapping_pars_fragment:"",t.toneMapping!==Ki?O1("toneMapping",t.toneMapping):"",t.dithering?"#define DITHERING":"",t.opaque?"#define OPAQUE":"",ht.colorspace_pars_fragment,U1("linearToOutputTexel",t.outputColorSpace),B1(),t.useDepthPacking?"#define DEPTH_PACKING "+t.depthPacking:"",`
`].filter(qa).join(`
`)),o=Nd(o),o=d_(o,t),o=p_(o,t),a=Nd(a),a=d_(a,t),a=p_(a,t),o=m_(o),a=m_(a),t.isRawShaderMaterial!==!0&&(p=`#version 300 es
`,v=[f,"#define attribute in","#define varying out","#define texture2D texture"].join(`
`)+`
`+v,m=["#define varying in",t.glslVersion===dd?"":"layout(location = 0) out highp vec4 pc_fragColor;",t.glslVersion===dd?"":"#define gl_FragColor pc_fragColor","#define gl_FragDepthEXT gl_FragDepth","#define texture2D texture","#define textureCube texture","#define texture2DProj textureProj","#define texture2DLodEXT textureLod","#define texture2DProjLodEXT textureProjLod","#define textureCubeLodEXT textureLod","#define texture2DGradEXT textureGrad","#define texture2DProjGradEXT textureProjGrad","#define textureCubeGradEXT textureGrad"].join(`
`)+`
`+m);let y=p+v+o,T=p+m+a,S=h_(s,s.VERTEX_SHADER,y),C=h_(s,s.FRAGMENT_SHADER,T);s.attachShader(g,S),s.attachShader(g,C),t.index0AttributeName!==void 0?s.bindAttribLocation(g,0,t.index0AttributeName):t.hasPositionAttribute===!0&&s.bindAttribLocation(g,0,"position"),s.linkProgram(g);function E(L){if(i.debug.checkShaderErrors){let I=s.getProgramInfoLog(g)||"",k=s.getShaderInfoLog(S)||"",V=s.getShaderInfoLog(C)||"",N=I.trim(),W=k.trim(),$=V.trim(),H=!0,ce=!0;if(s.getProgramParameter(g,s.LINK_STATUS)===!1)if(H=!1,typeof i.debug.onShaderError=="function")i.debug.onShaderError(s,g,S,C);else{let K=f_(s,S,"vertex"),Q=f_(s,C,"fragment");et("WebGLProgram: Shader Error "+s.getError()+" - VALIDATE_STATUS "+s.getProgramParameter(g,s.VALIDATE_STATUS)+`

Material Name: `+L.name+`
Material Type: `+L.type+`

Program Info Log: `+N+`
`+K+`
`+Q)}else N!==""?Ye("WebGLProgram: Program Info Log:",N):(W===""||$==="")&&(ce=!1);ce&&(L.diagnostics={runnable:H,programLog:N,vertexShader:{log:W,prefix:v},fragmentShader:{log:$,prefix:m}})}s.deleteShader(S),s.deleteShader(C),x=new Mo(s,g),A=V1(s,g)}let x;this.getUniforms=function(){return x===void 0&&E(this),x};let A;this.getAttributes=function(){return A===void 0&&E(this),A};let F=t.rendererExtensionParallelShaderCompile===!1;return this.isReady=function(){return F===!1&&(F=s.getProgramParameter(g,I1)),F},this.destroy=function(){n.releaseStatesOfProgram(this),s.deleteProgram(g),this.program=void 0},this.type=t.shaderType,this.name=t.shaderName,this.id=L1++,this.cacheKey=e,this.usedTimes=1,this.program=g,this.vertexShader=S,this.fragmentShader=C,this}var Q1=0,Ud=class{constructor(){this.shaderCache=new Map,this.materialCache=new Map}update(e,t,n){let s=this._getShaderCacheForMaterial(e);return s.has(t)===!1&&(s.add(t),t.usedTimes++),s.has(n)===!1&&(s.add(n),n.usedTimes++),this}remove(e){let t=this.materialCache.get(e);for(let n of t)n.usedTimes--,n.usedTimes===0&&this.shaderCache.delete(n.code);return this.materialCache.delete(e),this}getVertexShaderStage(e){return this._getShaderStage(e.vertexShader)}getFragmentShaderStage(e){return this._getShaderStage(e.fragmentShader)}dispose(){this.shaderCache.clear(),this.materialCache.clear()}_getShaderCacheForMaterial(e){let t=this.materialCache,n=t.get(e);return n===void 0&&(n=new Set,t.set(e,n)),n}_getShaderStage(e){let t=this.shaderCache,n=t.get(e);return n===void 0&&(n=new Fd(e),t.set(e,n)),n}},Fd=class{constructor(e){this.id=Q1++,this.code=e,this.usedTimes=0}};function eA(i){return i===qs||i===Ga||i===Ha}function tA(i,e,t,n,s,r){let o=new ua,a=new Ud,c=new Set,l=[],u=new Map,h=n.logarithmicDepthBuffer,f={MeshDepthMaterial:"depth",MeshDistanceMaterial:"distance",MeshNormalMaterial:"normal",MeshBasicMaterial:"basic",MeshLambertMaterial:"lambert",MeshPhongMaterial:"phong",MeshToonMaterial:"toon",MeshStandardMaterial:"physical",MeshPhysicalMaterial:"physical",MeshMatcapMaterial:"matcap",LineBasicMaterial:"basic",LineDashedMaterial:"dashed",PointsMaterial:"points",ShadowMaterial:"shadow",SpriteMaterial:"sprite"};function d(x){return c.add(x),x===0?"uv":`uv${x}`}function g(x,A,F,L,I,k){let V=L.fog,N=I.geometry,W=x.isMeshStandardMaterial||x.isMeshLambertMaterial||x.isMeshPhongMaterial?L.environment:null,$=x.isMeshStandardMaterial||x.isMeshLambertMaterial&&!x.envMap||x.isMeshPhongMaterial&&!x.envMap,H=e.get(x.envMap||W,$),ce=f[x.type],K=n.precision;x.precision!==null&&(K=n.getMaxPrecision(x.precision),K!==x.precision&&Ye("WebGLProgram.getParameters:",x.precision,"not supported, using",K,"instead."));let Q=N.morphAttributes.position||N.morphAttributes.normal||N.morphAttributes.color,se=Q!==void 0?Q.length:0,fe=0;N.morphAttributes.position!==void 0&&(fe=1),N.morphAttributes.normal!==void 0&&(fe=2),N.morphAttributes.color!==void 0&&(fe=3);let ue,ee,me,xe;if(ce){let Ce=Jn[ce];ue=Ce.vertexShader,ee=Ce.fragmentShader}else{ue=x.vertexShader,ee=x.fragmentShader;let Ce=a.getVertexShaderStage(x),at=a.getFragmentShaderStage(x);a.update(x,Ce,at),me=Ce.id,xe=at.id}let Te=i.getRenderTarget(),be=i.state.buffers.depth.getReversed(),We=I.isInstancedMesh===!0,st=I.isBatchedMesh===!0,Ve=!!x.map,ut=!!x.matcap,lt=!!H,nt=lt&&H.isPMREMTexture===!0,Wt=!!x.aoMap,Ot=!!x.lightMap,rn=!!x.bumpMap&&x.wireframe===!1,It=!!x.normalMap,vn=!!x.displacementMap,yt=!!x.emissiveMap,dn=!!x.metalnessMap,Yt=!!x.roughnessMap,on=x.anisotropy>0,B=x.clearcoat>0,Re=x.diffuseRoughness>0,$e=x.dispersion>0,rt=x.retroreflectivity>0,Me=x.iridescence>0,Nt=x.sheen>0,ze=x.transmission>0,qe=on&&!!x.anisotropyMap,R=B&&!!x.clearcoatMap,b=B&&!!x.clearcoatNormalMap,q=B&&!!x.clearcoatRoughnessMap,he=Re&&!!x.diffuseRoughnessMap,oe=Me&&!!x.iridescenceMap,_e=Me&&!!x.iridescenceThicknessMap,ye=Nt&&!!x.sheenColorMap,te=Nt&&!!x.sheenRoughnessMap,ie=!!x.specularMap,pe=!!x.specularColorMap,O=!!x.specularIntensityMap,re=ze&&!!x.transmissionMap,ne=ze&&!!x.thicknessMap,we=!!x.gradientMap,ge=!!x.alphaMap,Se=x.alphaTest>0,Ge=!!x.alphaHash,Je=!!x.extensions,le=Ki;x.toneMapped&&(Te===null||Te.isXRRenderTarget===!0)&&(le=i.toneMapping);let Oe=nt?H.isCompressedCubeTexture?H.image[0].mipmaps:H.mipmaps:null,Ke={shaderID:ce,shaderType:x.type,shaderName:x.name,vertexShader:ue,fragmentShader:ee,defines:x.defines,customVertexShaderID:me,customFragmentShaderID:xe,isRawShaderMaterial:x.isRawShaderMaterial===!0,glslVersion:x.glslVersion,precision:K,batching:st,batchingColor:st&&I._colorsTexture!==null,instancing:We,instancingColor:We&&I.instanceColor!==null,instancingMorph:We&&I.morphTexture!==null,outputColorSpace:Te===null?i.outputColorSpace:Te.isXRRenderTarget===!0?Te.texture.colorSpace:xt.workingColorSpace,alphaToCoverage:!!x.alphaToCoverage,map:Ve,matcap:ut,envMap:lt,envMapMode:lt&&H.mapping,envMapPMREM:nt,envMapMaxLod:nt?Oe.length-1:null,envMapSize:nt?Oe[0].width:null,aoMap:Wt,lightMap:Ot,bumpMap:rn,normalMap:It,displacementMap:vn,emissiveMap:yt,normalMapObjectSpace:It&&x.normalMapType===z0,normalMapTangentSpace:It&&x.normalMapType===Lh,packedNormalMap:It&&x.normalMapType===Lh&&eA(x.normalMap.format),metalnessMap:dn,roughnessMap:Yt,anisotropy:on,anisotropyMap:qe,clearcoat:B,clearcoatMap:R,clearcoatNormalMap:b,clearcoatRoughnessMap:q,diffuseRoughness:Re,diffuseRoughnessMap:he,dispersion:$e,retroreflection:rt,iridescence:Me,iridescenceMap:oe,iridescenceThicknessMap:_e,sheen:Nt,sheenColorMap:ye,sheenRoughnessMap:te,specularMap:ie,specularColorMap:pe,specularIntensityMap:O,transmission:ze,transmissionMap:re,thicknessMap:ne,gradientMap:we,opaque:x.transparent===!1&&x.blending===vo&&x.alphaToCoverage===!1,alphaMap:ge,alphaTest:Se,alphaHash:Ge,combine:x.combine,mapUv:Ve&&d(x.map.channel),aoMapUv:Wt&&d(x.aoMap.channel),lightMapUv:Ot&&d(x.lightMap.channel),bumpMapUv:rn&&d(x.bumpMap.channel),normalMapUv:It&&d(x.normalMap.channel),displacementMapUv:vn&&d(x.displacementMap.channel),emissiveMapUv:yt&&d(x.emissiveMap.channel),metalnessMapUv:dn&&d(x.metalnessMap.channel),roughnessMapUv:Yt&&d(x.roughnessMap.channel),anisotropyMapUv:qe&&d(x.anisotropyMap.channel),clearcoatMapUv:R&&d(x.clearcoatMap.channel),clearcoatNormalMapUv:b&&d(x.clearcoatNormalMap.channel),clearcoatRoughnessMapUv:q&&d(x.clearcoatRoughnessMap.channel),diffuseRoughnessMapUv:he&&d(x.diffuseRoughnessMap.channel),iridescenceMapUv:oe&&d(x.iridescenceMap.channel),iridescenceThicknessMapUv:_e&&d(x.iridescenceThicknessMap.channel),sheenColorMapUv:ye&&d(x.sheenColorMap.channel),sheenRoughnessMapUv:te&&d(x.sheenRoughnessMap.channel),specularMapUv:ie&&d(x.specularMap.channel),specularColorMapUv:pe&&d(x.specularColorMap.channel),specularIntensityMapUv:O&&d(x.specularIntensityMap.channel),transmissionMapUv:re&&d(x.transmissionMap.channel),thicknessMapUv:ne&&d(x.thicknessMap.channel),alphaMapUv:ge&&d(x.alphaMap.channel),vertexTangents:!!N.attributes.tangent&&(It||on),vertexNormals:!!N.attributes.normal,vertexColors:x.vertexColors,vertexAlphas:x.vertexColors===!0&&!!N.attributes.color&&N.attributes.color.itemSize===4,pointsUvs:I.isPoints===!0&&!!N.attributes.uv&&(Ve||ge),fog:!!V,useFog:x.fog===!0,fogExp2:!!V&&V.isFogExp2,flatShading:x.wireframe===!1&&(x.flatShading===!0||N.attributes.normal===void 0&&It===!1&&(x.isMeshLambertMaterial||x.isMeshPhongMaterial||x.isMeshStandardMaterial||x.isMeshPhysicalMaterial)),sizeAttenuation:x.sizeAttenuation===!0,logarithmicDepthBuffer:h,reversedDepthBuffer:be,skinning:I.isSkinnedMesh===!0,hasPositionAttribute:N.attributes.position!==void 0,morphTargets:N.morphAttributes.position!==void 0,morphNormals:N.morphAttributes.normal!==void 0,morphColors:N.morphAttributes.color!==void 0,morphTargetsCount:se,morphTextureStride:fe,numSunLights:A.sun.length,numDirLights:A.directional.length,numPointLights:A.point.length,numSpotLights:A.spot.length,numSpotLightMaps:A.spotLightMap.length,numRectAreaLights:A.rectArea.length,numHemiLights:A.hemi.length,numSunLightShadows:A.sunShadowMap.length,numDirLightShadows:A.directionalShadowMap.length,numPointLightShadows:A.pointShadowMap.length,numSpotLightShadows:A.spotShadowMap.length,numSpotLightShadowsWithMaps:A.numSpotLightShadowsWithMaps,numLightProbes:A.numLightProbes,numLightProbeGrids:k.filter(Ce=>Ce.texture!==null).length,numClippingPlanes:r.numPlanes,numClipIntersection:r.numIntersection,dithering:x.dithering,shadowMapEnabled:i.shadowMap.enabled&&F.length>0,shadowMapType:i.shadowMap.type,toneMapping:le,decodeVideoTexture:Ve&&x.map.isVideoTexture===!0&&xt.getTransfer(x.map.colorSpace)===At,decodeVideoTextureEmissive:yt&&x.emissiveMap.isVideoTexture===!0&&xt.getTransfer(x.emissiveMap.colorSpace)===At,premultipliedAlpha:x.premultipliedAlpha,doubleSided:x.side===Ji,flipSided:x.side===Cn,useDepthPacking:x.depthPacking>=0,depthPacking:x.depthPacking||0,index0AttributeName:x.index0AttributeName,extensionClipCullDistance:Je&&x.extensions.clipCullDistance===!0&&t.has("WEBGL_clip_cull_distance"),extensionMultiDraw:(Je&&x.extensions.multiDraw===!0||st)&&t.has("WEBGL_multi_draw"),rendererExtensionParallelShaderCompile:t.has("KHR_parallel_shader_compile"),customProgramCacheKey:x.customProgramCacheKey()};return Ke.vertexUv1s=c.has(1),Ke.vertexUv2s=c.has(2),Ke.vertexUv3s=c.has(3),c.clear(),Ke}function v(x){let A=[];if(x.shaderID?A.push(x.shaderID):(A.push(x.customVertexShaderID),A.push(x.customFragmentShaderID)),x.defines!==void 0)for(let F in x.defines)A.push(F),A.push(x.defines[F]);return x.isRawShaderMaterial===!1&&(m(A,x),p(A,x),A.push(i.outputColorSpace)),A.push(x.customProgramCacheKey),A.join()}function m(x,A){x.push(A.precision),x.push(A.outputColorSpace),x.push(A.envMapMode),x.push(A.envMapPMREM),x.push(A.envMapMaxLod),x.push(A.envMapSize),x.push(A.mapUv),x.push(A.alphaMapUv),x.push(A.lightMapUv),x.push(A.aoMapUv),x.push(A.bumpMapUv),x.push(A.normalMapUv),x.push(A.displacementMapUv),x.push(A.emissiveMapUv),x.push(A.metalnessMapUv),x.push(A.roughnessMapUv),x.push(A.anisotropyMapUv),x.push(A.clearcoatMapUv),x.push(A.clearcoatNormalMapUv),x.push(A.clearcoatRoughnessMapUv),x.push(A.diffuseRoughnessMapUv),x.push(A.iridescenceMapUv),x.push(A.iridescenceThicknessMapUv),x.push(A.sheenColorMapUv),x.push(A.sheenRoughnessMapUv),x.push(A.specularMapUv),x.push(A.specularColorMapUv),x.push(A.specularIntensityMapUv),x.push(A.transmissionMapUv),x.push(A.thicknessMapUv),x.push(A.combine),x.push(A.fogExp2),x.push(A.sizeAttenuation),x.push(A.morphTargetsCount),x.push(A.numSunLights),x.push(A.numDirLights),x.push(A.numPointLights),x.push(A.numSpotLights),x.push(A.numSpotLightMaps),x.push(A.numHemiLights),x.push(A.numRectAreaLights),x.push(A.numSunLightShadows),x.push(A.numDirLightShadows),x.push(A.numPointLightShadows),x.push(A.numSpotLightShadows),x.push(A.numSpotLightShadowsWithMaps),x.push(A.numLightProbes),x.push(A.numLightProbeGrids),x.push(A.shadowMapType),x.push(A.toneMapping),x.push(A.numClippingPlanes),x.push(A.numClipIntersection),x.push(A.depthPacking)}function p(x,A){o.disableAll(),A.instancing&&o.enable(0),A.instancingColor&&o.enable(1),A.instancingMorph&&o.enable(2),A.matcap&&o.enable(3),A.envMap&&o.enable(4),A.normalMapObjectSpace&&o.enable(5),A.normalMapTangentSpace&&o.enable(6),A.clearcoat&&o.enable(7),A.iridescence&&o.enable(8),A.alphaTest&&o.enable(9),A.vertexColors&&o.enable(10),A.vertexAlphas&&o.enable(11),A.vertexUv1s&&o.enable(12),A.vertexUv2s&&o.enable(13),A.vertexUv3s&&o.enable(14),A.vertexTangents&&o.enable(15),A.anisotropy&&o.enable(16),A.alphaHash&&o.enable(17),A.batching&&o.enable(18),A.dispersion&&o.enable(19),A.retroreflection&&o.enable(24),A.diffuseRoughness&&o.enable(25),A.batchingColor&&o.enable(20),A.gradientMap&&o.enable(21),A.packedNormalMap&&o.enable(22),A.vertexNormals&&o.enable(23),x.push(o.mask),o.disableAll(),A.fog&&o.enable(0),A.useFog&&o.enable(1),A.flatShading&&o.enable(2),A.logarithmicDepthBuffer&&o.enable(3),A.reversedDepthBuffer&&o.enable(4),A.skinning&&o.enable(5),A.morphTargets&&o.enable(6),A.morphNormals&&o.enable(7),A.morphColors&&o.enable(8),A.premultipliedAlpha&&o.enable(9),A.shadowMapEnabled&&o.enable(10),A.doubleSided&&o.enable(11),A.flipSided&&o.enable(12),A.useDepthPacking&&o.enable(13),A.dithering&&o.enable(14),A.transmission&&o.enable(15),A.sheen&&o.enable(16),A.opaque&&o.enable(17),A.pointsUvs&&o.enable(18),A.decodeVideoTexture&&o.enable(19),A.decodeVideoTextureEmissive&&o.enable(20),A.alphaToCoverage&&o.enable(21),A.numLightProbeGrids>0&&o.enable(22),A.hasPositionAttribute&&o.enable(23),x.push(o.mask)}function y(x){let A=f[x.type],F;if(A){let L=Jn[A];F=Wa.clone(L.uniforms)}else F=x.uniforms;return F}function T(x,A){let F=u.get(A);return F!==void 0?++F.usedTimes:(F=new j1(i,A,x,s),l.push(F),u.set(A,F)),F}function S(x){if(--x.usedTimes===0){let A=l.indexOf(x);l[A]=l[l.length-1],l.pop(),u.delete(x.cacheKey),x.destroy()}}function C(x){a.remove(x)}function E(){a.dispose()}return{getParameters:g,getProgramCacheKey:v,getUniforms:y,acquireProgram:T,releaseProgram:S,releaseShaderCache:C,programs:l,dispose:E}}function nA(){let i=new WeakMap;function e(o){return i.has(o)}function t(o){let a=i.get(o);return a===void 0&&(a={},i.set(o,a)),a}function n(o){i.delete(o)}function s(o,a,c){i.get(o)[a]=c}function r(){i=new WeakMap}return{has:e,get:t,remove:n,update:s,dispose:r}}function iA(i,e){return i.groupOrder!==e.groupOrder?i.groupOrder-e.groupOrder:i.renderOrder!==e.renderOrder?i.renderOrder-e.renderOrder:i.material.id!==e.material.id?i.material.id-e.material.id:i.materialVariant!==e.materialVariant?i.materialVariant-e.materialVariant:i.z!==e.z?i.z-e.z:i.id-e.id}function __(i,e){return i.groupOrder!==e.groupOrder?i.groupOrder-e.groupOrder:i.renderOrder!==e.renderOrder?i.renderOrder-e.renderOrder:i.z!==e.z?e.z-i.z:i.id-e.id}function x_(){let i=[],e=0,t=[],n=[],s=[];function r(){e=0,t.length=0,n.length=0,s.length=0}function o(f){let d=0;return f.isInstancedMesh&&(d+=2),f.isSkinnedMesh&&(d+=1),d}function a(f,d,g,v,m,p){let y=i[e];return y===void 0?(y={id:f.id,object:f,geometry:d,material:g,materialVariant:o(f),groupOrder:v,renderOrder:f.renderOrder,z:m,group:p},i[e]=y):(y.id=f.id,y.object=f,y.geometry=d,y.material=g,y.materialVariant=o(f),y.groupOrder=v,y.renderOrder=f.renderOrder,y.z=m,y.group=p),e++,y}function c(f,d,g,v,m,p,y){y.reversedDepth===!0&&(m=-m);let T=a(f,d,g,v,m,p);g.transmission>0?n.push(T):g.transparent===!0?s.push(T):t.push(T)}function l(f,d,g,v,m,p){let y=a(f,d,g,v,m,p);g.transmission>0?n.unshift(y):g.transparent===!0?s.unshift(y):t.unshift(y)}function u(f,d){t.length>1&&t.sort(f||iA),n.length>1&&n.sort(d||__),s.length>1&&s.sort(d||__)}function h(){for(let f=e,d=i.length;f<d;f++){let g=i[f];if(g.id===null)break;g.id=null,g.object=null,g.geometry=null,g.material=null,g.group=null}}return{opaque:t,transmissive:n,transparent:s,init:r,push:c,unshift:l,finish:h,sort:u}}function sA(){let i=new WeakMap;function e(n,s){let r=i.get(n),o;return r===void 0?(o=new x_,i.set(n,[o])):s>=r.length?(o=new x_,r.push(o)):o=r[s],o}function t(){i=new WeakMap}return{get:e,dispose:t}}function rA(){let i={};return{get:function(e){if(i[e.id]!==void 0)return i[e.id];let t;switch(e.type){case"SunLight":case"DirectionalLight":t={direction:new U,color:new je};break;case"SpotLight":t={position:new U,direction:new U,color:new je,distance:0,coneCos:0,penumbraCos:0,decay:0};break;case"PointLight":t={position:new U,color:new je,distance:0,decay:0};break;case"HemisphereLight":t={direction:new U,skyColor:new je,groundColor:new je};break;case"RectAreaLight":t={color:new je,position:new U,halfWidth:new U,halfHeight:new U};break}return i[e.id]=t,t}}}function oA(){let i={};return{get:function(e){if(i[e.id]!==void 0)return i[e.id];let t;switch(e.type){case"SunLight":case"DirectionalLight":t={shadowIntensity:1,shadowBias:0,shadowNormalBias:0,shadowRadius:1,shadowMapSize:new He};break;case"SpotLight":t={shadowIntensity:1,shadowBias:0,shadowNormalBias:0,shadowRadius:1,shadowMapSize:new He};break;case"PointLight":t={shadowIntensity:1,shadowBias:0,shadowNormalBias:0,shadowRadius:1,shadowMapSize:new He,shadowCameraNear:1,shadowCameraFar:1e3};break}return i[e.id]=t,t}}}var aA=0;function lA(i,e){return(e.castShadow?2:0)-(i.castShadow?2:0)+(e.map?1:0)-(i.map?1:0)}function cA(i){let e=new rA,t=oA(),n={version:0,hash:{sunLength:-1,directionalLength:-1,pointLength:-1,spotLength:-1,rectAreaLength:-1,hemiLength:-1,numSunShadows:-1,numDirectionalShadows:-1,numPointShadows:-1,numSpotShadows:-1,numSpotMaps:-1,numLightProbes:-1},ambient:[0,0,0],probe:[],sun:[],sunShadow:[],sunShadowMap:[],sunShadowMatrix:[],sunShadowCascade:[],directional:[],directionalShadow:[],directionalShadowMap:[],directionalShadowMatrix:[],spot:[],spotLightMap:[],spotShadow:[],spotShadowMap:[],spotLightMatrix:[],rectArea:[],rectAreaLTC1:null,rectAreaLTC2:null,point:[],pointShadow:[],pointShadowMap:[],pointShadowMatrix:[],hemi:[],numSpotLightShadowsWithMaps:0,numLightProbes:0};for(let l=0;l<9;l++)n.probe.push(new U);let s=new U,r=new Dt,o=new Dt;function a(l){let u=0,h=0,f=0;for(let k=0;k<9;k++)n.probe[k].set(0,0,0);let d=0,g=0,v=0,m=0,p=0,y=0,T=0,S=0,C=0,E=0,x=0,A=0,F=0,L=0;l.sort(lA);for(let k=0,V=l.length;k<V;k++){let N=l[k],W=N.color,$=N.intensity,H=N.distance,ce=null;if(N.shadow&&N.shadow.map&&(N.shadow.map.texture.format===qs?ce=N.shadow.map.texture:ce=N.shadow.map.depthTexture||N.shadow.map.texture),N.isAmbientLight)u+=W.r*$,h+=W.g*$,f+=W.b*$;else if(N.isLightProbe){for(let K=0;K<9;K++)n.probe[K].addScaledVector(N.sh.coefficients[K],$);L++}else if(N.isSunLight){let K=e.get(N);if(K.color.copy(N.color).multiplyScalar(N.intensity),N.castShadow){let Q=N.shadow,se=t.get(N);se.shadowIntensity=Q.intensity,se.shadowBias=Q.bias,se.shadowNormalBias=Q.normalBias,se.shadowRadius=Q.radius,se.shadowMapSize.copy(Q.mapSize).multiply(Q.getFrameExtents()),n.sunShadow[g]=se,n.sunShadowMap[g]=ce;let fe=Q.getViewportCount();for(let ue=0;ue<fe;ue++)n.sunShadowMatrix[v+ue]=Q.getMatrix(ue),n.sunShadowCascade[v+ue]=Q._cascadeData[ue];v+=fe,g++}n.sun[d]=K,d++}else if(N.isDirectionalLight){let K=e.get(N);if(K.color.copy(N.color).multiplyScalar(N.intensity),N.castShadow){let Q=N.shadow,se=t.get(N);se.shadowIntensity=Q.intensity,se.shadowBias=Q.bias,se.shadowNormalBias=Q.normalBias,se.shadowRadius=Q.radius,se.shadowMapSize=Q.mapSize,n.directionalShadow[m]=se,n.directionalShadowMap[m]=ce,n.directionalShadowMatrix[m]=N.shadow.matrix,C++}n.directional[m]=K,m++}else if(N.isSpotLight){let K=e.get(N);K.position.setFromMatrixPosition(N.matrixWorld),K.color.copy(W).multiplyScalar($),K.distance=H,K.coneCos=Math.cos(N.angle),K.penumbraCos=Math.cos(N.angle*(1-N.penumbra)),K.decay=N.decay,n.spot[y]=K;let Q=N.shadow;if(N.map&&(n.spotLightMap[A]=N.map,A++,Q.updateMatrices(N),N.castShadow&&F++),n.spotLightMatrix[y]=Q.matrix,N.castShadow){let se=t.get(N);se.shadowIntensity=Q.intensity,se.shadowBias=Q.bias,se.shadowNormalBias=Q.normalBias,se.shadowRadius=Q.radius,se.shadowMapSize=Q.mapSize,n.spotShadow[y]=se,n.spotShadowMap[y]=ce,x++}y++}else if(N.isRectAreaLight){let K=e.get(N);K.color.copy(W).multiplyScalar($),K.halfWidth.set(N.width*.5,0,0),K.halfHeight.set(0,N.height*.5,0),n.rectArea[T]=K,T++}else if(N.isPointLight){let K=e.get(N);if(K.color.copy(N.color).multiplyScalar(N.intensity),K.distance=N.distance,K.decay=N.decay,N.castShadow){let Q=N.shadow,se=t.get(N);se.shadowIntensity=Q.intensity,se.shadowBias=Q.bias,se.shadowNormalBias=Q.normalBias,se.shadowRadius=Q.radius,se.shadowMapSize=Q.mapSize,se.shadowCameraNear=Q.camera.near,se.shadowCameraFar=Q.camera.far,n.pointShadow[p]=se,n.pointShadowMap[p]=ce,n.pointShadowMatrix[p]=N.shadow.matrix,E++}n.point[p]=K,p++}else if(N.isHemisphereLight){let K=e.get(N);K.skyColor.copy(N.color).multiplyScalar($),K.groundColor.copy(N.groundColor).multiplyScalar($),n.hemi[S]=K,S++}}T>0&&(i.has("OES_texture_float_linear")===!0?(n.rectAreaLTC1=Pe.LTC_FLOAT_1,n.rectAreaLTC2=Pe.LTC_FLOAT_2):(n.rectAreaLTC1=Pe.LTC_HALF_1,n.rectAreaLTC2=Pe.LTC_HALF_2)),n.ambient[0]=u,n.ambient[1]=h,n.ambient[2]=f;let I=n.hash;(I.sunLength!==d||I.directionalLength!==m||I.pointLength!==p||I.spotLength!==y||I.rectAreaLength!==T||I.hemiLength!==S||I.numSunShadows!==g||I.numDirectionalShadows!==C||I.numPointShadows!==E||I.numSpotShadows!==x||I.numSpotMaps!==A||I.numLightProbes!==L)&&(n.sun.length=d,n.directional.length=m,n.spot.length=y,n.rectArea.length=T,n.point.length=p,n.hemi.length=S,n.sunShadow.length=g,n.sunShadowMap.length=g,n.sunShadowMatrix.length=v,n.sunShadowCascade.length=v,n.directionalShadow.length=C,n.directionalShadowMap.length=C,n.directionalShadowMatrix.length=C,n.pointShadow.length=E,n.pointShadowMap.length=E,n.pointShadowMatrix.length=E,n.spotShadow.length=x,n.spotShadowMap.length=x,n.spotLightMatrix.length=x+A-F,n.spotLightMap.length=A,n.numSpotLightShadowsWithMaps=F,n.numLightProbes=L,I.sunLength=d,I.directionalLength=m,I.pointLength=p,I.spotLength=y,I.rectAreaLength=T,I.hemiLength=S,I.numSunShadows=g,I.numDirectionalShadows=C,I.numPointShadows=E,I.numSpotShadows=x,I.numSpotMaps=A,I.numLightProbes=L,n.version=aA++)}function c(l,u){let h=0,f=0,d=0,g=0,v=0,m=0,p=u.matrixWorldInverse;for(let y=0,T=l.length;y<T;y++){let S=l[y];if(S.isSunLight){let C=n.sun[h];C.direction.setFromMatrixPosition(S.matrixWorld),C.direction.transformDirection(p),h++}else if(S.isDirectionalLight){let C=n.directional[f];C.direction.setFromMatrixPosition(S.matrixWorld),s.setFromMatrixPosition(S.target.matrixWorld),C.direction.sub(s),C.direction.transformDirection(p),f++}else if(S.isSpotLight){let C=n.spot[g];C.position.setFromMatrixPosition(S.matrixWorld),C.position.applyMatrix4(p),C.direction.setFromMatrixPosition(S.matrixWorld),s.setFromMatrixPosition(S.target.matrixWorld),C.direction.sub(s),C.direction.transformDirection(p),g++}else if(S.isRectAreaLight){let C=n.rectArea[v];C.position.setFromMatrixPosition(S.matrixWorld),C.position.applyMatrix4(p),o.identity(),r.copy(S.matrixWorld),r.premultiply(p),o.extractRotation(r),C.halfWidth.set(S.width*.5,0,0),C.halfHeight.set(0,S.height*.5,0),C.halfWidth.applyMatrix4(o),C.halfHeight.applyMatrix4(o),v++}else if(S.isPointLight){let C=n.point[d];C.position.setFromMatrixPosition(S.matrixWorld),C.position.applyMatrix4(p),d++}else if(S.isHemisphereLight){let C=n.hemi[m];C.direction.setFromMatrixPosition(S.matrixWorld),C.direction.transformDirection(p),m++}}}return{setup:a,setupView:c,state:n}}function y_(i){let e=new cA(i),t=[],n=[],s=[];function r(h){u.camera=h,t.length=0,n.length=0,s.length=0}function o(h){h.isLightProbeGrid?s.push(h):t.push(h)}function a(h){n.push(h)}function c(){e.setup(t),s.sort((h,f)=>h.priority-f.priority||h.id-f.id)}function l(h){e.setupView(t,h)}let u={lightsArray:t,shadowsArray:n,lightProbeGridArray:s,camera:null,lights:e,transmissionRenderTarget:{},textureUnits:0};return{init:r,state:u,setupLights:c,setupLightsView:l,pushLight:o,pushShadow:a}}function hA(i){let e=new WeakMap;function t(s,r=0){let o=e.get(s),a;return o===void 0?(a=new y_(i),e.set(s,[a])):r>=o.length?(a=new y_(i),o.push(a)):a=o[r],a}function n(){e=new WeakMap}return{get:t,dispose:n}}var uA=`void main() {
	gl_Position = vec4( position, 1.0 );
}`,fA=`uniform sampler2D shadow_pass;
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
}`,dA=[new U(1,0,0),new U(-1,0,0),new U(0,1,0),new U(0,-1,0),new U(0,0,1),new U(0,0,-1)],pA=[new U(0,-1,0),new U(0,-1,0),new U(0,0,1),new U(0,0,-1),new U(0,-1,0),new U(0,-1,0)],v_=new Dt,Xa=new U,Pd=new U;function mA(i,e,t){let n=new ks,s=new He,r=new He,o=new Et,a=new Ic,c=new Lc,l={},u=t.maxTextureSize,h={[Xs]:Cn,[Cn]:Xs,[Ji]:Ji},f=new Zn({defines:{VSM_SAMPLES:8},uniforms:{shadow_pass:{value:null},resolution:{value:new He},radius:{value:4}},vertexShader:uA,fragmentShader:fA}),d=f.clone();d.defines.HORIZONTAL_PASS=1;let g=new Qt;g.setAttribute("position",new ui(new Float32Array([-1,-1,.5,3,-1,.5,-1,3,.5]),3));let v=new en(g,f),m=this;this.enabled=!1,this.autoUpdate=!0,this.needsUpdate=!1,this.type=Fa;let p=this.type;this.render=function(E,x,A){if(m.enabled===!1||m.autoUpdate===!1&&m.needsUpdate===!1||E.length===0)return;this.type===_0&&(Ye("WebGLShadowMap: PCFSoftShadowMap has been removed. Using PCFShadowMap instead."),this.type=Fa);let F=i.getRenderTarget(),L=i.getActiveCubeFace(),I=i.getActiveMipmapLevel(),k=i.state;k.setBlending(ur),k.buffers.depth.getReversed()===!0?k.buffers.color.setClear(0,0,0,0):k.buffers.color.setClear(1,1,1,1),k.buffers.depth.setTest(!0),k.setScissorTest(!1);let V=p!==this.type;V&&x.traverse(function(N){N.material&&(Array.isArray(N.material)?N.material.forEach(W=>W.needsUpdate=!0):N.material.needsUpdate=!0)});for(let N=0,W=E.length;N<W;N++){let $=E[N],H=$.shadow;if(H===void 0){Ye("WebGLShadowMap:",$,"has no shadow.");continue}if(H.autoUpdate===!1&&H.needsUpdate===!1)continue;s.copy(H.mapSize);let ce=H.getFrameExtents();s.multiply(ce),r.copy(H.mapSize),(s.x>u||s.y>u)&&(s.x>u&&(r.x=Math.floor(u/ce.x),s.x=r.x*ce.x,H.mapSize.x=r.x),s.y>u&&(r.y=Math.floor(u/ce.y),s.y=r.y*ce.y,H.mapSize.y=r.y));let K=i.state.buffers.depth.getReversed();if(H.camera._reversedDepth=K,H.map===null||V===!0){if(H.map!==null&&(H.map.depthTexture!==null&&(H.map.depthTexture.dispose(),H.map.depthTexture=null),H.map.dispose()),this.type===yo){if($.isPointLight){Ye("WebGLShadowMap: VSM shadow maps are not supported for PointLights. Use PCF or BasicShadowMap instead.");continue}H.map=new fi(s.x,s.y,{format:qs,type:Fi,minFilter:$n,magFilter:$n,generateMipmaps:!1}),H.map.texture.name=$.name+".shadowMap",H.map.depthTexture=new Ss(s.x,s.y,Ui),H.map.depthTexture.name=$.name+".shadowMapDepth",H.map.depthTexture.format=xs,H.map.depthTexture.compareFunction=null,H.map.depthTexture.minFilter=Tn,H.map.depthTexture.magFilter=Tn}else $.isPointLight?(H.map=new Ya(s.x),H.map.depthTexture=new _a(s.x,Ni)):(H.map=new fi(s.x,s.y),H.map.depthTexture=new Ss(s.x,s.y,Ni)),H.map.depthTexture.name=$.name+".shadowMap",H.map.depthTexture.format=xs,this.type===Fa?(H.map.depthTexture.compareFunction=K?hd:cd,H.map.depthTexture.minFilter=$n,H.map.depthTexture.magFilter=$n):(H.map.depthTexture.compareFunction=null,H.map.depthTexture.minFilter=Tn,H.map.depthTexture.magFilter=Tn);H.camera.updateProjectionMatrix()}H.map.isWebGLCubeRenderTarget!==!0&&(H.map.width!==s.x||H.map.height!==s.y)&&H.map.setSize(s.x,s.y);let Q=H.map.isWebGLCubeRenderTarget?6:H.getViewportCount();$.isPointLight!==!0&&H.updateMatrices($,A);let se=(H.camera.layers.mask&4294967294)!==0?H.camera.layers:A.layers;for(let fe=0;fe<Q;fe++){let ue=H.getCamera(fe);if($.isPointLight){let ee=H.camera,me=H.matrix,xe=$.distance||ee.far;xe!==ee.far&&(ee.far=xe,ee.updateProjectionMatrix()),Xa.setFromMatrixPosition($.matrixWorld),ee.position.copy(Xa),Pd.copy(ee.position),Pd.add(dA[fe]),ee.up.copy(pA[fe]),ee.lookAt(Pd),ee.updateMatrixWorld(),me.makeTranslation(-Xa.x,-Xa.y,-Xa.z),v_.multiplyMatrices(ee.projectionMatrix,ee.matrixWorldInverse),H._frustum.setFromProjectionMatrix(v_,ee.coordinateSystem,ee.reversedDepth)}if(H.map.isWebGLCubeRenderTarget)i.setRenderTarget(H.map,fe),i.clear();else{fe===0&&(i.setRenderTarget(H.map),i.clear());let ee=H.getViewport(fe);o.set(r.x*ee.x,r.y*ee.y,r.x*ee.z,r.y*ee.w),k.viewport(o)}n=H.getFrustum(fe),S(x,A,ue,$,se,this.type)}H.isPointLightShadow!==!0&&this.type===yo&&y(H,A),H.needsUpdate=!1}p=this.type,m.needsUpdate=!1,i.setRenderTarget(F,L,I)};function y(E,x){let A=e.update(v);f.defines.VSM_SAMPLES!==E.blurSamples&&(f.defines.VSM_SAMPLES=E.blurSamples,d.defines.VSM_SAMPLES=E.blurSamples,f.needsUpdate=!0,d.needsUpdate=!0),E.mapPass===null?E.mapPass=new fi(s.x,s.y,{format:qs,type:Fi}):(E.mapPass.width!==E.map.width||E.mapPass.height!==E.map.height)&&E.mapPass.setSize(E.map.width,E.map.height),f.uniforms.shadow_pass.value=E.map.depthTexture,f.uniforms.resolution.value.set(E.map.width,E.map.height),f.uniforms.radius.value=E.radius,i.setRenderTarget(E.mapPass),i.clear(),i.renderBufferDirect(x,null,A,f,v,null),d.uniforms.shadow_pass.value=E.mapPass.texture,d.uniforms.resolution.value.set(E.map.width,E.map.height),d.uniforms.radius.value=E.radius,i.setRenderTarget(E.map),i.clear(),i.renderBufferDirect(x,null,A,d,v,null)}function T(E,x,A,F){let L=null,I=A.isPointLight===!0?E.customDistanceMaterial:E.customDepthMaterial;if(I!==void 0)L=I;else if(L=A.isPointLight===!0?c:a,i.localClippingEnabled&&x.clipShadows===!0&&Array.isArray(x.clippingPlanes)&&x.clippingPlanes.length!==0||x.displacementMap&&x.displacementScale!==0||x.alphaMap&&x.alphaTest>0||x.map&&x.alphaTest>0||x.alphaToCoverage===!0){let k=L.uuid,V=x.uuid,N=l[k];N===void 0&&(N={},l[k]=N);let W=N[V];W===void 0&&(W=L.clone(),N[V]=W,x.addEventListener("dispose",C)),L=W}if(L.visible=x.visible,L.wireframe=x.wireframe,F===yo?L.side=x.shadowSide!==null?x.shadowSide:x.side:L.side=x.shadowSide!==null?x.shadowSide:h[x.side],L.alphaMap=x.alphaMap,L.alphaTest=x.alphaToCoverage===!0?.5:x.alphaTest,L.map=x.map,L.clipShadows=x.clipShadows,L.clippingPlanes=x.clippingPlanes,L.clipIntersection=x.clipIntersection,L.displacementMap=x.displacementMap,L.displacementScale=x.displacementScale,L.displacementBias=x.displacementBias,L.wireframeLinewidth=x.wireframeLinewidth,L.linewidth=x.linewidth,A.isPointLight===!0&&L.isMeshDistanceMaterial===!0){let k=i.properties.get(L);k.light=A}return L}function S(E,x,A,F,L,I){if(E.visible===!1)return;if(E.layers.test(L)&&(E.isMesh||E.isLine||E.isPoints)&&(E.castShadow||E.receiveShadow&&I===yo)&&(!E.frustumCulled||E.intersectsFrustum(n))){E.modelViewMatrix.multiplyMatrices(A.matrixWorldInverse,E.matrixWorld);let N=e.update(E),W=E.material;if(Array.isArray(W)){let $=N.groups;for(let H=0,ce=$.length;H<ce;H++){let K=$[H],Q=W[K.materialIndex];if(Q&&Q.visible){let se=T(E,Q,F,I);E.onBeforeShadow(i,E,x,A,N,se,K),i.renderBufferDirect(A,null,N,se,E,K),E.onAfterShadow(i,E,x,A,N,se,K)}}}else if(W.visible){let $=T(E,W,F,I);E.onBeforeShadow(i,E,x,A,N,$,null),i.renderBufferDirect(A,null,N,$,E,null),E.onAfterShadow(i,E,x,A,N,$,null)}}let V=E.children;for(let N=0,W=V.length;N<W;N++)S(V[N],x,A,F,L,I)}function C(E){E.target.removeEventListener("dispose",C);for(let A in l){let F=l[A],L=E.target.uuid;L in F&&(F[L].dispose(),delete F[L])}}}function gA(i,e){function t(){let O=!1,re=new Et,ne=null,we=new Et(0,0,0,0);return{setMask:function(ge){ne!==ge&&!O&&(i.colorMask(ge,ge,ge,ge),ne=ge)},setLocked:function(ge){O=ge},setClear:function(ge,Se,Ge,Je,le){le===!0&&(ge*=Je,Se*=Je,Ge*=Je),re.set(ge,Se,Ge,Je),we.equals(re)===!1&&(i.clearColor(ge,Se,Ge,Je),we.copy(re))},reset:function(){O=!1,ne=null,we.set(-1,0,0,0)}}}function n(){let O=!1,re=!1,ne=null,we=null,ge=null;return{setReversed:function(Se){if(re!==Se){let Ge=e.get("EXT_clip_control");Se?Ge.clipControlEXT(Ge.LOWER_LEFT_EXT,Ge.ZERO_TO_ONE_EXT):Ge.clipControlEXT(Ge.LOWER_LEFT_EXT,Ge.NEGATIVE_ONE_TO_ONE_EXT),re=Se;let Je=ge;ge=null,this.setClear(Je)}},getReversed:function(){return re},setTest:function(Se){Se?be(i.DEPTH_TEST):We(i.DEPTH_TEST)},setMask:function(Se){ne!==Se&&!O&&(i.depthMask(Se),ne=Se)},setFunc:function(Se){if(re&&(Se=J0[Se]),we!==Se){switch(Se){case ic:i.depthFunc(i.NEVER);break;case sc:i.depthFunc(i.ALWAYS);break;case rc:i.depthFunc(i.LESS);break;case lo:i.depthFunc(i.LEQUAL);break;case oc:i.depthFunc(i.EQUAL);break;case ac:i.depthFunc(i.GEQUAL);break;case lc:i.depthFunc(i.GREATER);break;case cc:i.depthFunc(i.NOTEQUAL);break;default:i.depthFunc(i.LEQUAL)}we=Se}},setLocked:function(Se){O=Se},setClear:function(Se){ge!==Se&&(ge=Se,re&&(Se=1-Se),i.clearDepth(Se))},reset:function(){O=!1,ne=null,we=null,ge=null,re=!1}}}function s(){let O=!1,re=null,ne=null,we=null,ge=null,Se=null,Ge=null,Je=null,le=null;return{setTest:function(Oe){O||(Oe?be(i.STENCIL_TEST):We(i.STENCIL_TEST))},setMask:function(Oe){re!==Oe&&!O&&(i.stencilMask(Oe),re=Oe)},setFunc:function(Oe,Ke,Ce){(ne!==Oe||we!==Ke||ge!==Ce)&&(i.stencilFunc(Oe,Ke,Ce),ne=Oe,we=Ke,ge=Ce)},setOp:function(Oe,Ke,Ce){(Se!==Oe||Ge!==Ke||Je!==Ce)&&(i.stencilOp(Oe,Ke,Ce),Se=Oe,Ge=Ke,Je=Ce)},setLocked:function(Oe){O=Oe},setClear:function(Oe){le!==Oe&&(i.clearStencil(Oe),le=Oe)},reset:function(){O=!1,re=null,ne=null,we=null,ge=null,Se=null,Ge=null,Je=null,le=null}}}let r=new t,o=new n,a=new s,c={},l=new WeakMap,u={},h={},f={},d=new WeakMap,g=[],v=null,m=!1,p=null,y=null,T=null,S=null,C=null,E=null,x=null,A=new je(0,0,0),F=0,L=!1,I=null,k=null,V=null,N=null,W=null,$=i.getParameter(i.MAX_COMBINED_TEXTURE_IMAGE_UNITS),H=!1,ce=0,K=i.getParameter(i.VERSION);K.indexOf("WebGL")!==-1?(ce=parseFloat(/^WebGL (\d)/.exec(K)[1]),H=ce>=1):K.indexOf("OpenGL ES")!==-1&&(ce=parseFloat(/^OpenGL ES (\d)/.exec(K)[1]),H=ce>=2);let Q=null,se={},fe=i.getParameter(i.SCISSOR_BOX),ue=i.getParameter(i.VIEWPORT),ee=new Et().fromArray(fe),me=new Et().fromArray(ue);function xe(O,re,ne,we){let ge=new Uint8Array(4),Se=i.createTexture();i.bindTexture(O,Se),i.texParameteri(O,i.TEXTURE_MIN_FILTER,i.NEAREST),i.texParameteri(O,i.TEXTURE_MAG_FILTER,i.NEAREST);for(let Ge=0;Ge<ne;Ge++)O===i.TEXTURE_3D||O===i.TEXTURE_2D_ARRAY?i.texImage3D(re,0,i.RGBA,1,1,we,0,i.RGBA,i.UNSIGNED_BYTE,ge):i.texImage2D(re+Ge,0,i.RGBA,1,1,0,i.RGBA,i.UNSIGNED_BYTE,ge);return Se}let Te={};Te[i.TEXTURE_2D]=xe(i.TEXTURE_2D,i.TEXTURE_2D,1),Te[i.TEXTURE_CUBE_MAP]=xe(i.TEXTURE_CUBE_MAP,i.TEXTURE_CUBE_MAP_POSITIVE_X,6),Te[i.TEXTURE_2D_ARRAY]=xe(i.TEXTURE_2D_ARRAY,i.TEXTURE_2D_ARRAY,1,1),Te[i.TEXTURE_3D]=xe(i.TEXTURE_3D,i.TEXTURE_3D,1,1),r.setClear(0,0,0,1),o.setClear(1),a.setClear(0),be(i.DEPTH_TEST),o.setFunc(lo),rn(!1),It(Gf),be(i.CULL_FACE),Wt(ur);function be(O){u[O]!==!0&&(i.enable(O),u[O]=!0)}function We(O){u[O]!==!1&&(i.disable(O),u[O]=!1)}function st(O,re){return f[O]!==re?(i.bindFramebuffer(O,re),f[O]=re,O===i.DRAW_FRAMEBUFFER&&(f[i.FRAMEBUFFER]=re),O===i.FRAMEBUFFER&&(f[i.DRAW_FRAMEBUFFER]=re),!0):!1}function Ve(O,re){let ne=g,we=!1;if(O){ne=d.get(re),ne===void 0&&(ne=[],d.set(re,ne));let ge=O.textures;if(ne.length!==ge.length||ne[0]!==i.COLOR_ATTACHMENT0){for(let Se=0,Ge=ge.length;Se<Ge;Se++)ne[Se]=i.COLOR_ATTACHMENT0+Se;ne.length=ge.length,we=!0}}else ne[0]!==i.BACK&&(ne[0]=i.BACK,we=!0);we&&i.drawBuffers(ne)}function ut(O){return v!==O?(i.useProgram(O),v=O,!0):!1}let lt={[fr]:i.FUNC_ADD,[y0]:i.FUNC_SUBTRACT,[v0]:i.FUNC_REVERSE_SUBTRACT};lt[S0]=i.MIN,lt[b0]=i.MAX;let nt={[M0]:i.ZERO,[w0]:i.ONE,[A0]:i.SRC_COLOR,[qf]:i.SRC_ALPHA,[I0]:i.SRC_ALPHA_SATURATE,[R0]:i.DST_COLOR,[T0]:i.DST_ALPHA,[E0]:i.ONE_MINUS_SRC_COLOR,[Yf]:i.ONE_MINUS_SRC_ALPHA,[P0]:i.ONE_MINUS_DST_COLOR,[C0]:i.ONE_MINUS_DST_ALPHA,[L0]:i.CONSTANT_COLOR,[D0]:i.ONE_MINUS_CONSTANT_COLOR,[N0]:i.CONSTANT_ALPHA,[U0]:i.ONE_MINUS_CONSTANT_ALPHA};function Wt(O,re,ne,we,ge,Se,Ge,Je,le,Oe){if(O===ur){m===!0&&(We(i.BLEND),m=!1);return}if(m===!1&&(be(i.BLEND),m=!0),O!==x0){if(O!==p||Oe!==L){if((y!==fr||C!==fr)&&(i.blendEquation(i.FUNC_ADD),y=fr,C=fr),Oe)switch(O){case vo:i.blendFuncSeparate(i.ONE,i.ONE_MINUS_SRC_ALPHA,i.ONE,i.ONE_MINUS_SRC_ALPHA);break;case Hf:i.blendFunc(i.ONE,i.ONE);break;case Wf:i.blendFuncSeparate(i.ZERO,i.ONE_MINUS_SRC_COLOR,i.ZERO,i.ONE);break;case Xf:i.blendFuncSeparate(i.DST_COLOR,i.ONE_MINUS_SRC_ALPHA,i.ZERO,i.ONE);break;default:et("WebGLState: Invalid blending: ",O);break}else switch(O){case vo:i.blendFuncSeparate(i.SRC_ALPHA,i.ONE_MINUS_SRC_ALPHA,i.ONE,i.ONE_MINUS_SRC_ALPHA);break;case Hf:i.blendFuncSeparate(i.SRC_ALPHA,i.ONE,i.ONE,i.ONE);break;case Wf:et("WebGLState: SubtractiveBlending requires material.premultipliedAlpha = true");break;case Xf:et("WebGLState: MultiplyBlending requires material.premultipliedAlpha = true");break;default:et("WebGLState: Invalid blending: ",O);break}T=null,S=null,E=null,x=null,A.set(0,0,0),F=0,p=O,L=Oe}return}ge=ge||re,Se=Se||ne,Ge=Ge||we,(re!==y||ge!==C)&&(i.blendEquationSeparate(lt[re],lt[ge]),y=re,C=ge),(ne!==T||we!==S||Se!==E||Ge!==x)&&(i.blendFuncSeparate(nt[ne],nt[we],nt[Se],nt[Ge]),T=ne,S=we,E=Se,x=Ge),(Je.equals(A)===!1||le!==F)&&(i.blendColor(Je.r,Je.g,Je.b,le),A.copy(Je),F=le),p=O,L=!1}function Ot(O,re){O.side===Ji?We(i.CULL_FACE):be(i.CULL_FACE);let ne=O.side===Cn;re&&(ne=!ne),rn(ne),O.blending===vo&&O.transparent===!1?Wt(ur):Wt(O.blending,O.blendEquation,O.blendSrc,O.blendDst,O.blendEquationAlpha,O.blendSrcAlpha,O.blendDstAlpha,O.blendColor,O.blendAlpha,O.premultipliedAlpha),o.setFunc(O.depthFunc),o.setTest(O.depthTest),o.setMask(O.depthWrite),r.setMask(O.colorWrite);let we=O.stencilWrite;a.setTest(we),we&&(a.setMask(O.stencilWriteMask),a.setFunc(O.stencilFunc,O.stencilRef,O.stencilFuncMask),a.setOp(O.stencilFail,O.stencilZFail,O.stencilZPass)),yt(O.polygonOffset,O.polygonOffsetFactor,O.polygonOffsetUnits),O.alphaToCoverage===!0?be(i.SAMPLE_ALPHA_TO_COVERAGE):We(i.SAMPLE_ALPHA_TO_COVERAGE)}function rn(O){I!==O&&(O?i.frontFace(i.CW):i.frontFace(i.CCW),I=O)}function It(O){O!==m0?(be(i.CULL_FACE),O!==k&&(O===Gf?i.cullFace(i.BACK):O===g0?i.cullFace(i.FRONT):i.cullFace(i.FRONT_AND_BACK))):We(i.CULL_FACE),k=O}function vn(O){O!==V&&(H&&i.lineWidth(O),V=O)}function yt(O,re,ne){O?(be(i.POLYGON_OFFSET_FILL),(N!==re||W!==ne)&&(N=re,W=ne,o.getReversed()&&(re=-re,ne=-ne),i.polygonOffset(re,ne))):We(i.POLYGON_OFFSET_FILL)}function dn(O){O?be(i.SCISSOR_TEST):We(i.SCISSOR_TEST)}function Yt(O){O===void 0&&(O=i.TEXTURE0+$-1),Q!==O&&(i.activeTexture(O),Q=O)}function on(O,re,ne){ne===void 0&&(Q===null?ne=i.TEXTURE0+$-1:ne=Q);let we=se[ne];we===void 0&&(we={type:void 0,texture:void 0},se[ne]=we),(we.type!==O||we.texture!==re)&&(Q!==ne&&(i.activeTexture(ne),Q=ne),i.bindTexture(O,re||Te[O]),we.type=O,we.texture=re)}function B(){let O=se[Q];O!==void 0&&O.type!==void 0&&(i.bindTexture(O.type,null),O.type=void 0,O.texture=void 0)}function Re(){try{i.compressedTexImage2D(...arguments)}catch(O){et("WebGLState:",O)}}function $e(){try{i.compressedTexImage3D(...arguments)}catch(O){et("WebGLState:",O)}}function rt(){try{i.texSubImage2D(...arguments)}catch(O){et("WebGLState:",O)}}function Me(){try{i.texSubImage3D(...arguments)}catch(O){et("WebGLState:",O)}}function Nt(){try{i.compressedTexSubImage2D(...arguments)}catch(O){et("WebGLState:",O)}}function ze(){try{i.compressedTexSubImage3D(...arguments)}catch(O){et("WebGLState:",O)}}function qe(){try{i.texStorage2D(...arguments)}catch(O){et("WebGLState:",O)}}function R(){try{i.texStorage3D(...arguments)}catch(O){et("WebGLState:",O)}}function b(){try{i.texImage2D(...arguments)}catch(O){et("WebGLState:",O)}}function q(){try{i.texImage3D(...arguments)}catch(O){et("WebGLState:",O)}}function he(O){return h[O]!==void 0?h[O]:i.getParameter(O)}function oe(O,re){h[O]!==re&&(i.pixelStorei(O,re),h[O]=re)}function _e(O){ee.equals(O)===!1&&(i.scissor(O.x,O.y,O.z,O.w),ee.copy(O))}function ye(O){me.equals(O)===!1&&(i.viewport(O.x,O.y,O.z,O.w),me.copy(O))}function te(O,re){let ne=l.get(re);ne===void 0&&(ne=new WeakMap,l.set(re,ne));let we=ne.get(O);we===void 0&&(we=i.getUniformBlockIndex(re,O.name),i.uniformBlockBinding(re,we,we),ne.set(O,we))}function ie(O,re,ne){let ge=l.get(re).get(O);c[ge]!==ne&&(i.bindBufferBase(i.UNIFORM_BUFFER,ge,ne),c[ge]=ne)}function pe(){i.disable(i.BLEND),i.disable(i.CULL_FACE),i.disable(i.DEPTH_TEST),i.disable(i.POLYGON_OFFSET_FILL),i.disable(i.SCISSOR_TEST),i.disable(i.STENCIL_TEST),i.disable(i.SAMPLE_ALPHA_TO_COVERAGE),i.blendEquation(i.FUNC_ADD),i.blendFunc(i.ONE,i.ZERO),i.blendFuncSeparate(i.ONE,i.ZERO,i.ONE,i.ZERO),i.blendColor(0,0,0,0),i.colorMask(!0,!0,!0,!0),i.clearColor(0,0,0,0),i.depthMask(!0),i.depthFunc(i.LESS),o.setReversed(!1),i.clearDepth(1),i.stencilMask(4294967295),i.stencilFunc(i.ALWAYS,0,4294967295),i.stencilOp(i.KEEP,i.KEEP,i.KEEP),i.clearStencil(0),i.cullFace(i.BACK),i.frontFace(i.CCW),i.polygonOffset(0,0),i.activeTexture(i.TEXTURE0),i.bindFramebuffer(i.FRAMEBUFFER,null),i.bindFramebuffer(i.DRAW_FRAMEBUFFER,null),i.bindFramebuffer(i.READ_FRAMEBUFFER,null),i.useProgram(null),i.lineWidth(1),i.scissor(0,0,i.canvas.width,i.canvas.height),i.viewport(0,0,i.canvas.width,i.canvas.height),i.pixelStorei(i.PACK_ALIGNMENT,4),i.pixelStorei(i.UNPACK_ALIGNMENT,4),i.pixelStorei(i.UNPACK_FLIP_Y_WEBGL,!1),i.pixelStorei(i.UNPACK_PREMULTIPLY_ALPHA_WEBGL,!1),i.pixelStorei(i.UNPACK_COLORSPACE_CONVERSION_WEBGL,i.BROWSER_DEFAULT_WEBGL),i.pixelStorei(i.PACK_ROW_LENGTH,0),i.pixelStorei(i.PACK_SKIP_PIXELS,0),i.pixelStorei(i.PACK_SKIP_ROWS,0),i.pixelStorei(i.UNPACK_ROW_LENGTH,0),i.pixelStorei(i.UNPACK_IMAGE_HEIGHT,0),i.pixelStorei(i.UNPACK_SKIP_PIXELS,0),i.pixelStorei(i.UNPACK_SKIP_ROWS,0),i.pixelStorei(i.UNPACK_SKIP_IMAGES,0),u={},h={},Q=null,se={},f={},c={},d=new WeakMap,g=[],v=null,m=!1,p=null,y=null,T=null,S=null,C=null,E=null,x=null,A=new je(0,0,0),F=0,L=!1,I=null,k=null,V=null,N=null,W=null,ee.set(0,0,i.canvas.width,i.canvas.height),me.set(0,0,i.canvas.width,i.canvas.height),r.reset(),o.reset(),a.reset()}return{buffers:{color:r,depth:o,stencil:a},enable:be,disable:We,bindFramebuffer:st,drawBuffers:Ve,useProgram:ut,setBlending:Wt,setMaterial:Ot,setFlipSided:rn,setCullFace:It,setLineWidth:vn,setPolygonOffset:yt,setScissorTest:dn,activeTexture:Yt,bindTexture:on,unbindTexture:B,compressedTexImage2D:Re,compressedTexImage3D:$e,texImage2D:b,texImage3D:q,pixelStorei:oe,getParameter:he,updateUBOMapping:te,uniformBlockBinding:ie,texStorage2D:qe,texStorage3D:R,texSubImage2D:rt,texSubImage3D:Me,compressedTexSubImage2D:Nt,compressedTexSubImage3D:ze,scissor:_e,viewport:ye,reset:pe}}function _A(i,e,t,n,s,r,o){let a=e.has("WEBGL_multisampled_render_to_texture")?e.get("WEBGL_multisampled_render_to_texture"):null,c=typeof navigator>"u"?!1:/OculusBrowser/g.test(navigator.userAgent),l=new He,u=new WeakMap,h=new Set,f,d=new WeakMap,g=new Set,v=new FinalizationRegistry(R=>g.delete(R)),m=!1;try{m=typeof OffscreenCanvas<"u"&&new OffscreenCanvas(1,1).getContext("2d")!==null}catch{}function p(R,b){return m?new OffscreenCanvas(R,b):la("canvas")}function y(R,b,q){let he=1,oe=qe(R);if((oe.width>q||oe.height>q)&&(he=q/Math.max(oe.width,oe.height)),he<1)if(typeof HTMLImageElement<"u"&&R instanceof HTMLImageElement||typeof HTMLCanvasElement<"u"&&R instanceof HTMLCanvasElement||typeof ImageBitmap<"u"&&R instanceof ImageBitmap||typeof VideoFrame<"u"&&R instanceof VideoFrame){let _e=Math.floor(he*oe.width),ye=Math.floor(he*oe.height);f===void 0&&(f=p(_e,ye));let te=b?p(_e,ye):f;return te.width=_e,te.height=ye,te.getContext("2d").drawImage(R,0,0,_e,ye),Ye("WebGLRenderer: Texture has been resized from ("+oe.width+"x"+oe.height+") to ("+_e+"x"+ye+")."),te}else return"data"in R&&Ye("WebGLRenderer: Image in DataTexture is too big ("+oe.width+"x"+oe.height+")."),R;return R}function T(R){return R.generateMipmaps}function S(R){i.generateMipmap(R)}function C(R){return R.isWebGLCubeRenderTarget?i.TEXTURE_CUBE_MAP:R.isWebGL3DRenderTarget?i.TEXTURE_3D:R.isWebGLArrayRenderTarget||R.isCompressedArrayTexture?i.TEXTURE_2D_ARRAY:i.TEXTURE_2D}function E(R,b,q,he,oe,_e=!1){if(R!==null){if(i[R]!==void 0)return i[R];Ye("WebGLRenderer: Attempt to use non-existing WebGL internal format '"+R+"'")}let ye;he&&(ye=e.get("EXT_texture_norm16"),ye||Ye("WebGLRenderer: Unable to use normalized textures without EXT_texture_norm16 extension"));let te=b;if(b===i.RED&&(q===i.FLOAT&&(te=i.R32F),q===i.HALF_FLOAT&&(te=i.R16F),q===i.UNSIGNED_BYTE&&(te=i.R8),q===i.UNSIGNED_SHORT&&ye&&(te=ye.R16_EXT),q===i.SHORT&&ye&&(te=ye.R16_SNORM_EXT)),b===i.RED_INTEGER&&(q===i.UNSIGNED_BYTE&&(te=i.R8UI),q===i.UNSIGNED_SHORT&&(te=i.R16UI),q===i.UNSIGNED_INT&&(te=i.R32UI),q===i.BYTE&&(te=i.R8I),q===i.SHORT&&(te=i.R16I),q===i.INT&&(te=i.R32I)),b===i.RG&&(q===i.FLOAT&&(te=i.RG32F),q===i.HALF_FLOAT&&(te=i.RG16F),q===i.UNSIGNED_BYTE&&(te=i.RG8),q===i.UNSIGNED_SHORT&&ye&&(te=ye.RG16_EXT),q===i.SHORT&&ye&&(te=ye.RG16_SNORM_EXT)),b===i.RG_INTEGER&&(q===i.UNSIGNED_BYTE&&(te=i.RG8UI),q===i.UNSIGNED_SHORT&&(te=i.RG16UI),q===i.UNSIGNED_INT&&(te=i.RG32UI),q===i.BYTE&&(te=i.RG8I),q===i.SHORT&&(te=i.RG16I),q===i.INT&&(te=i.RG32I)),b===i.RGB_INTEGER&&(q===i.UNSIGNED_BYTE&&(te=i.RGB8UI),q===i.UNSIGNED_SHORT&&(te=i.RGB16UI),q===i.UNSIGNED_INT&&(te=i.RGB32UI),q===i.BYTE&&(te=i.RGB8I),q===i.SHORT&&(te=i.RGB16I),q===i.INT&&(te=i.RGB32I)),b===i.RGBA_INTEGER&&(q===i.UNSIGNED_BYTE&&(te=i.RGBA8UI),q===i.UNSIGNED_SHORT&&(te=i.RGBA16UI),q===i.UNSIGNED_INT&&(te=i.RGBA32UI),q===i.BYTE&&(te=i.RGBA8I),q===i.SHORT&&(te=i.RGBA16I),q===i.INT&&(te=i.RGBA32I)),b===i.RGB&&(q===i.UNSIGNED_SHORT&&ye&&(te=ye.RGB16_EXT),q===i.SHORT&&ye&&(te=ye.RGB16_SNORM_EXT),q===i.UNSIGNED_INT_5_9_9_9_REV&&(te=i.RGB9_E5),q===i.UNSIGNED_INT_10F_11F_11F_REV&&(te=i.R11F_G11F_B10F)),b===i.RGBA){let ie=_e?aa:xt.getTransfer(oe);q===i.FLOAT&&(te=i.RGBA32F),q===i.HALF_FLOAT&&(te=i.RGBA16F),q===i.UNSIGNED_BYTE&&(te=ie===At?i.SRGB8_ALPHA8:i.RGBA8),q===i.UNSIGNED_SHORT&&ye&&(te=ye.RGBA16_EXT),q===i.SHORT&&ye&&(te=ye.RGBA16_SNORM_EXT),q===i.UNSIGNED_SHORT_4_4_4_4&&(te=i.RGBA4),q===i.UNSIGNED_SHORT_5_5_5_1&&(te=i.RGB5_A1)}return(te===i.R16F||te===i.R32F||te===i.RG16F||te===i.RG32F||te===i.RGBA16F||te===i.RGBA32F)&&e.get("EXT_color_buffer_float"),te}function x(R,b){let q;return R?b===null||b===Ni||b===pr?q=i.DEPTH24_STENCIL8:b===Ui?q=i.DEPTH32F_STENCIL8:b===bo&&(q=i.DEPTH24_STENCIL8,Ye("DepthTexture: 16 bit depth attachment is not supported with stencil. Using 24-bit attachment.")):b===null||b===Ni||b===pr?q=i.DEPTH_COMPONENT24:b===Ui?q=i.DEPTH_COMPONENT32F:b===bo&&(q=i.DEPTH_COMPONENT16),q}function A(R,b){return T(R)===!0||R.isFramebufferTexture&&R.minFilter!==Tn&&R.minFilter!==$n?Math.log2(Math.max(b.width,b.height))+1:R.mipmaps.length>0?R.mipmaps.length:R.isCompressedTexture&&Array.isArray(R.image)?b.mipmaps.length:1}function F(R){let b=new WeakRef(R);n.get(R).__ref=b,g.add(b),v.register(R,b,b)}function L(R){let b=n.get(R).__ref;b!==void 0&&(g.delete(b),v.unregister(b))}function I(R){V(R.target)}function k(R){N(R.target)}function V(R){R.removeEventListener("dispose",I),L(R),$(R),R.isVideoTexture&&u.delete(R),R.isHTMLTexture&&h.delete(R)}function N(R){R.removeEventListener("dispose",k),L(R),ce(R)}function W(){for(let R of g){let b=R.deref();b!==void 0&&(b.isRenderTarget===!0?N(b):V(b))}g.clear(),h.clear()}function $(R){let b=n.get(R);if(b.__webglInit===void 0)return;let q=R.source,he=d.get(q);if(he){let oe=he[b.__cacheKey];oe.usedTimes--,oe.usedTimes===0&&H(R),Object.keys(he).length===0&&d.delete(q)}n.remove(R)}function H(R){let b=n.get(R);i.deleteTexture(b.__webglTexture);let q=R.source,he=d.get(q);delete he[b.__cacheKey],o.memory.textures--}function ce(R){let b=n.get(R);b.__depthDisposeCallback&&b.__depthDisposeCallback();let q=R.depthTexture;if(q&&q.renderTarget===R&&V(q),R.isWebGLCubeRenderTarget)for(let oe=0;oe<6;oe++){if(Array.isArray(b.__webglFramebuffer[oe]))for(let _e=0;_e<b.__webglFramebuffer[oe].length;_e++)i.deleteFramebuffer(b.__webglFramebuffer[oe][_e]);else i.deleteFramebuffer(b.__webglFramebuffer[oe]);b.__webglDepthbuffer&&i.deleteRenderbuffer(b.__webglDepthbuffer[oe])}else{if(Array.isArray(b.__webglFramebuffer))for(let oe=0;oe<b.__webglFramebuffer.length;oe++)i.deleteFramebuffer(b.__webglFramebuffer[oe]);else i.deleteFramebuffer(b.__webglFramebuffer);if(b.__webglDepthbuffer&&i.deleteRenderbuffer(b.__webglDepthbuffer),b.__webglMultisampledFramebuffer&&i.deleteFramebuffer(b.__webglMultisampledFramebuffer),b.__webglColorRenderbuffer)for(let oe=0;oe<b.__webglColorRenderbuffer.length;oe++)b.__webglColorRenderbuffer[oe]&&i.deleteRenderbuffer(b.__webglColorRenderbuffer[oe]);b.__webglDepthRenderbuffer&&i.deleteRenderbuffer(b.__webglDepthRenderbuffer)}let he=R.textures;for(let oe=0,_e=he.length;oe<_e;oe++){let ye=n.get(he[oe]);ye.__webglTexture&&(i.deleteTexture(ye.__webglTexture),o.memory.textures--),n.remove(he[oe])}n.remove(R)}let K=0;function Q(){K=0}function se(){return K}function fe(R){K=R}function ue(){let R=K;return R>=s.maxTextures&&Ye("WebGLTextures: Trying to use "+(R+1)+" texture units while this GPU supports only "+s.maxTextures),K+=1,R}function ee(R){let b=[];return b.push(R.wrapS),b.push(R.wrapT),b.push(R.wrapR||0),b.push(R.magFilter),b.push(R.minFilter),b.push(R.anisotropy),b.push(R.internalFormat),b.push(R.format),b.push(R.type),b.push(R.generateMipmaps),b.push(R.mipmapsAutoUpdate),b.push(R.premultiplyAlpha),b.push(R.flipY),b.push(R.unpackAlignment),b.push(R.colorSpace),b.join()}function me(R,b){let q=n.get(R);if(R.isVideoTexture&&Nt(R),R.isRenderTargetTexture===!1&&R.isExternalTexture!==!0&&R.version>0&&q.__version!==R.version){let he=R.image;if(he===null)Ye("WebGLRenderer: Texture marked for update but no image data found.");else if(he.complete===!1)Ye("WebGLRenderer: Texture marked for update but image is incomplete");else{Ot(q,R,b);return}}else R.isExternalTexture&&(q.__webglTexture=R.sourceTexture?R.sourceTexture:null);t.bindTexture(i.TEXTURE_2D,q.__webglTexture,i.TEXTURE0+b)}function xe(R,b){let q=n.get(R);if(R.isRenderTargetTexture===!1&&R.version>0&&q.__version!==R.version){Ot(q,R,b);return}else R.isExternalTexture&&(q.__webglTexture=R.sourceTexture?R.sourceTexture:null);t.bindTexture(i.TEXTURE_2D_ARRAY,q.__webglTexture,i.TEXTURE0+b)}function Te(R,b){let q=n.get(R);if(R.isRenderTargetTexture===!1&&R.version>0&&q.__version!==R.version){Ot(q,R,b);return}t.bindTexture(i.TEXTURE_3D,q.__webglTexture,i.TEXTURE0+b)}function be(R,b){let q=n.get(R);if(R.version>0&&q.__version!==R.version){rn(q,R,b);return}t.bindTexture(i.TEXTURE_CUBE_MAP,q.__webglTexture,i.TEXTURE0+b)}let We={[hc]:i.REPEAT,[Yi]:i.CLAMP_TO_EDGE,[uc]:i.MIRRORED_REPEAT},st={[Tn]:i.NEAREST,[B0]:i.NEAREST_MIPMAP_NEAREST,[Oa]:i.NEAREST_MIPMAP_LINEAR,[$n]:i.LINEAR,[Zc]:i.LINEAR_MIPMAP_NEAREST,[bs]:i.LINEAR_MIPMAP_LINEAR},Ve={[G0]:i.NEVER,[ud]:i.ALWAYS,[H0]:i.LESS,[cd]:i.LEQUAL,[W0]:i.EQUAL,[hd]:i.GEQUAL,[X0]:i.GREATER,[q0]:i.NOTEQUAL};function ut(R,b){if(b.type===Ui&&e.has("OES_texture_float_linear")===!1&&(b.magFilter===$n||b.magFilter===Zc||b.magFilter===Oa||b.magFilter===bs||b.minFilter===$n||b.minFilter===Zc||b.minFilter===Oa||b.minFilter===bs)&&Ye("WebGLRenderer: Unable to use linear filtering with floating point textures. OES_texture_float_linear not supported on this device."),i.texParameteri(R,i.TEXTURE_WRAP_S,We[b.wrapS]),i.texParameteri(R,i.TEXTURE_WRAP_T,We[b.wrapT]),(R===i.TEXTURE_3D||R===i.TEXTURE_2D_ARRAY)&&i.texParameteri(R,i.TEXTURE_WRAP_R,We[b.wrapR]),i.texParameteri(R,i.TEXTURE_MAG_FILTER,st[b.magFilter]),i.texParameteri(R,i.TEXTURE_MIN_FILTER,st[b.minFilter]),b.compareFunction&&(i.texParameteri(R,i.TEXTURE_COMPARE_MODE,i.COMPARE_REF_TO_TEXTURE),i.texParameteri(R,i.TEXTURE_COMPARE_FUNC,Ve[b.compareFunction])),e.has("EXT_texture_filter_anisotropic")===!0){if(b.magFilter===Tn||b.minFilter!==Oa&&b.minFilter!==bs||b.type===Ui&&e.has("OES_texture_float_linear")===!1)return;if(b.anisotropy>1||n.get(b).__currentAnisotropy){let q=e.get("EXT_texture_filter_anisotropic");i.texParameterf(R,q.TEXTURE_MAX_ANISOTROPY_EXT,Math.min(b.anisotropy,s.getMaxAnisotropy())),n.get(b).__currentAnisotropy=b.anisotropy}}}function lt(R,b){let q=!1;R.__webglInit===void 0&&(R.__webglInit=!0,b.addEventListener("dispose",I),F(b));let he=b.source,oe=d.get(he);oe===void 0&&(oe={},d.set(he,oe));let _e=ee(b);if(_e!==R.__cacheKey){oe[_e]===void 0&&(oe[_e]={texture:i.createTexture(),usedTimes:0},o.memory.textures++,q=!0),oe[_e].usedTimes++;let ye=oe[R.__cacheKey];ye!==void 0&&(oe[R.__cacheKey].usedTimes--,ye.usedTimes===0&&H(b)),R.__cacheKey=_e,R.__webglTexture=oe[_e].texture}return q}function nt(R,b,q){return Math.floor(Math.floor(R/q)/b)}function Wt(R,b,q,he){let _e=R.updateRanges;if(_e.length===0)t.texSubImage2D(i.TEXTURE_2D,0,0,0,b.width,b.height,q,he,b.data);else{_e.sort((O,re)=>O.start-re.start);let ye=0;for(let O=1;O<_e.length;O++){let re=_e[ye],ne=_e[O],we=re.start+re.count,ge=nt(ne.start,b.width,4),Se=nt(re.start,b.width,4);ne.start<=we+1&&ge===Se&&nt(ne.start+ne.count-1,b.width,4)===ge?re.count=Math.max(re.count,ne.start+ne.count-re.start):(++ye,_e[ye]=ne)}_e.length=ye+1;let te=t.getParameter(i.UNPACK_ROW_LENGTH),ie=t.getParameter(i.UNPACK_SKIP_PIXELS),pe=t.getParameter(i.UNPACK_SKIP_ROWS);t.pixelStorei(i.UNPACK_ROW_LENGTH,b.width);for(let O=0,re=_e.length;O<re;O++){let ne=_e[O],we=Math.floor(ne.start/4),ge=Math.ceil(ne.count/4),Se=we%b.width,Ge=Math.floor(we/b.width),Je=ge,le=1;t.pixelStorei(i.UNPACK_SKIP_PIXELS,Se),t.pixelStorei(i.UNPACK_SKIP_ROWS,Ge),t.texSubImage2D(i.TEXTURE_2D,0,Se,Ge,Je,le,q,he,b.data)}R.clearUpdateRanges(),t.pixelStorei(i.UNPACK_ROW_LENGTH,te),t.pixelStorei(i.UNPACK_SKIP_PIXELS,ie),t.pixelStorei(i.UNPACK_SKIP_ROWS,pe)}}function Ot(R,b,q){let he=i.TEXTURE_2D;(b.isDataArrayTexture||b.isCompressedArrayTexture)&&(he=i.TEXTURE_2D_ARRAY),b.isData3DTexture&&(he=i.TEXTURE_3D);let oe=lt(R,b),_e=b.source;t.bindTexture(he,R.__webglTexture,i.TEXTURE0+q);let ye=n.get(_e);if(_e.version!==ye.__version||oe===!0){if(t.activeTexture(i.TEXTURE0+q),(typeof ImageBitmap<"u"&&b.image instanceof ImageBitmap)===!1){let le=xt.getPrimaries(xt.workingColorSpace),Oe=b.colorSpace===ws?null:xt.getPrimaries(b.colorSpace),Ke=b.colorSpace===ws||le===Oe?i.NONE:i.BROWSER_DEFAULT_WEBGL;t.pixelStorei(i.UNPACK_FLIP_Y_WEBGL,b.flipY),t.pixelStorei(i.UNPACK_PREMULTIPLY_ALPHA_WEBGL,b.premultiplyAlpha),t.pixelStorei(i.UNPACK_COLORSPACE_CONVERSION_WEBGL,Ke)}t.pixelStorei(i.UNPACK_ALIGNMENT,b.unpackAlignment);let ie=y(b.image,!1,s.maxTextureSize);ie=ze(b,ie);let pe=r.convert(b.format,b.colorSpace),O=r.convert(b.type),re=E(b.internalFormat,pe,O,b.normalized,b.colorSpace,b.isVideoTexture);ut(he,b);let ne,we=b.mipmaps,ge=b.isVideoTexture!==!0,Se=ye.__version===void 0||oe===!0,Ge=_e.dataReady,Je=A(b,ie);if(b.isDepthTexture)re=x(b.format===Ms,b.type),Se&&(ge?t.texStorage2D(i.TEXTURE_2D,1,re,ie.width,ie.height):t.texImage2D(i.TEXTURE_2D,0,re,ie.width,ie.height,0,pe,O,null));else if(b.isDataTexture)if(we.length>0){ge&&Se&&t.texStorage2D(i.TEXTURE_2D,Je,re,we[0].width,we[0].height);for(let le=0,Oe=we.length;le<Oe;le++)ne=we[le],ge?Ge&&t.texSubImage2D(i.TEXTURE_2D,le,0,0,ne.width,ne.height,pe,O,ne.data):t.texImage2D(i.TEXTURE_2D,le,re,ne.width,ne.height,0,pe,O,ne.data);b.generateMipmaps=!1}else ge?(Se&&t.texStorage2D(i.TEXTURE_2D,Je,re,ie.width,ie.height),Ge&&Wt(b,ie,pe,O)):t.texImage2D(i.TEXTURE_2D,0,re,ie.width,ie.height,0,pe,O,ie.data);else if(b.isCompressedTexture)if(b.isCompressedArrayTexture){ge&&Se&&t.texStorage3D(i.TEXTURE_2D_ARRAY,Je,re,we[0].width,we[0].height,ie.depth);for(let le=0,Oe=we.length;le<Oe;le++)if(ne=we[le],b.format!==Oi)if(pe!==null)if(ge){if(Ge)if(b.layerUpdates.size>0){let Ke=Md(ne.width,ne.height,b.format,b.type);for(let Ce of b.layerUpdates){let at=ne.data.subarray(Ce*Ke/ne.data.BYTES_PER_ELEMENT,(Ce+1)*Ke/ne.data.BYTES_PER_ELEMENT);t.compressedTexSubImage3D(i.TEXTURE_2D_ARRAY,le,0,0,Ce,ne.width,ne.height,1,pe,at)}}else t.compressedTexSubImage3D(i.TEXTURE_2D_ARRAY,le,0,0,0,ne.width,ne.height,ie.depth,pe,ne.data)}else t.compressedTexImage3D(i.TEXTURE_2D_ARRAY,le,re,ne.width,ne.height,ie.depth,0,ne.data,0,0);else Ye("WebGLRenderer: Attempt to load unsupported compressed texture format in .uploadTexture()");else ge?Ge&&t.texSubImage3D(i.TEXTURE_2D_ARRAY,le,0,0,0,ne.width,ne.height,ie.depth,pe,O,ne.data):t.texImage3D(i.TEXTURE_2D_ARRAY,le,re,ne.width,ne.height,ie.depth,0,pe,O,ne.data);b.layerUpdates.size>0&&b.clearLayerUpdates()}else{ge&&Se&&t.texStorage2D(i.TEXTURE_2D,Je,re,we[0].width,we[0].height);for(let le=0,Oe=we.length;le<Oe;le++)ne=we[le],b.format!==Oi?pe!==null?ge?Ge&&t.compressedTexSubImage2D(i.TEXTURE_2D,le,0,0,ne.width,ne.height,pe,ne.data):t.compressedTexImage2D(i.TEXTURE_2D,le,re,ne.width,ne.height,0,ne.data):Ye("WebGLRenderer: Attempt to load unsupported compressed texture format in .uploadTexture()"):ge?Ge&&t.texSubImage2D(i.TEXTURE_2D,le,0,0,ne.width,ne.height,pe,O,ne.data):t.texImage2D(i.TEXTURE_2D,le,re,ne.width,ne.height,0,pe,O,ne.data)}else if(b.isDataArrayTexture)if(ge){if(Se&&t.texStorage3D(i.TEXTURE_2D_ARRAY,Je,re,ie.width,ie.height,ie.depth),Ge)if(b.layerUpdates.size>0){let le=Md(ie.width,ie.height,b.format,b.type);for(let Oe of b.layerUpdates){let Ke=ie.data.subarray(Oe*le/ie.data.BYTES_PER_ELEMENT,(Oe+1)*le/ie.data.BYTES_PER_ELEMENT);t.texSubImage3D(i.TEXTURE_2D_ARRAY,0,0,0,Oe,ie.width,ie.height,1,pe,O,Ke)}b.clearLayerUpdates()}else t.texSubImage3D(i.TEXTURE_2D_ARRAY,0,0,0,0,ie.width,ie.height,ie.depth,pe,O,ie.data)}else t.texImage3D(i.TEXTURE_2D_ARRAY,0,re,ie.width,ie.height,ie.depth,0,pe,O,ie.data);else if(b.isData3DTexture)ge?(Se&&t.texStorage3D(i.TEXTURE_3D,Je,re,ie.width,ie.height,ie.depth),Ge&&t.texSubImage3D(i.TEXTURE_3D,0,0,0,0,ie.width,ie.height,ie.depth,pe,O,ie.data)):t.texImage3D(i.TEXTURE_3D,0,re,ie.width,ie.height,ie.depth,0,pe,O,ie.data);else if(b.isFramebufferTexture){if(Se)if(ge)t.texStorage2D(i.TEXTURE_2D,Je,re,ie.width,ie.height);else{let le=ie.width,Oe=ie.height;for(let Ke=0;Ke<Je;Ke++)t.texImage2D(i.TEXTURE_2D,Ke,re,le,Oe,0,pe,O,null),le>>=1,Oe>>=1}}else if(b.isHTMLTexture){if("texElementImage2D"in i){let le=i.canvas;if(le.hasAttribute("layoutsubtree")||le.setAttribute("layoutsubtree","true"),ie.parentNode!==le){le.appendChild(ie),h.add(b),le.onpaint=Oe=>{let Ke=Oe.changedElements;for(let Ce of h)Ke.includes(Ce.image)&&(Ce.needsUpdate=!0)},le.requestPaint();return}if(i.texElementImage2D.length===3)i.texElementImage2D(i.TEXTURE_2D,i.RGBA8,ie);else{let Ke=i.RGBA,Ce=i.RGBA,at=i.UNSIGNED_BYTE;i.texElementImage2D(i.TEXTURE_2D,0,Ke,Ce,at,ie)}i.texParameteri(i.TEXTURE_2D,i.TEXTURE_MIN_FILTER,i.LINEAR),i.texParameteri(i.TEXTURE_2D,i.TEXTURE_WRAP_S,i.CLAMP_TO_EDGE),i.texParameteri(i.TEXTURE_2D,i.TEXTURE_WRAP_T,i.CLAMP_TO_EDGE)}}else if(we.length>0){if(ge&&Se){let le=qe(we[0]);t.texStorage2D(i.TEXTURE_2D,Je,re,le.width,le.height)}for(let le=0,Oe=we.length;le<Oe;le++)ne=we[le],ge?Ge&&t.texSubImage2D(i.TEXTURE_2D,le,0,0,pe,O,ne):t.texImage2D(i.TEXTURE_2D,le,re,pe,O,ne);b.generateMipmaps=!1}else if(ge){if(Se){let le=qe(ie);t.texStorage2D(i.TEXTURE_2D,Je,re,le.width,le.height)}Ge&&t.texSubImage2D(i.TEXTURE_2D,0,0,0,pe,O,ie)}else t.texImage2D(i.TEXTURE_2D,0,re,pe,O,ie);T(b)&&b.mipmapsAutoUpdate===!0&&S(he),ye.__version=_e.version,b.onUpdate&&b.onUpdate(b)}R.__version=b.version}function rn(R,b,q){if(b.image.length!==6)return;let he=lt(R,b),oe=b.source;t.bindTexture(i.TEXTURE_CUBE_MAP,R.__webglTexture,i.TEXTURE0+q);let _e=n.get(oe);if(oe.version!==_e.__version||he===!0){t.activeTexture(i.TEXTURE0+q);let ye=xt.getPrimaries(xt.workingColorSpace),te=b.colorSpace===ws?null:xt.getPrimaries(b.colorSpace),ie=b.colorSpace===ws||ye===te?i.NONE:i.BROWSER_DEFAULT_WEBGL;t.pixelStorei(i.UNPACK_FLIP_Y_WEBGL,b.flipY),t.pixelStorei(i.UNPACK_PREMULTIPLY_ALPHA_WEBGL,b.premultiplyAlpha),t.pixelStorei(i.UNPACK_ALIGNMENT,b.unpackAlignment),t.pixelStorei(i.UNPACK_COLORSPACE_CONVERSION_WEBGL,ie);let pe=b.isCompressedTexture||b.image[0].isCompressedTexture,O=b.image[0]&&b.image[0].isDataTexture,re=[];for(let Ce=0;Ce<6;Ce++)!pe&&!O?re[Ce]=y(b.image[Ce],!0,s.maxCubemapSize):re[Ce]=O?b.image[Ce].image:b.image[Ce],re[Ce]=ze(b,re[Ce]);let ne=re[0],we=r.convert(b.format,b.colorSpace),ge=r.convert(b.type),Se=E(b.internalFormat,we,ge,b.normalized,b.colorSpace),Ge=b.isVideoTexture!==!0,Je=_e.__version===void 0||he===!0,le=oe.dataReady,Oe=A(b,ne);ut(i.TEXTURE_CUBE_MAP,b);let Ke;if(b.isDepthTexture){if(Se=x(b.format===Ms,b.type),Je)if(Ge)t.texStorage2D(i.TEXTURE_CUBE_MAP,1,Se,ne.width,ne.height);else for(let Ce=0;Ce<6;Ce++)t.texImage2D(i.TEXTURE_CUBE_MAP_POSITIVE_X+Ce,0,Se,ne.width,ne.height,0,we,ge,null)}else if(pe){Ge&&Je&&t.texStorage2D(i.TEXTURE_CUBE_MAP,Oe,Se,ne.width,ne.height);for(let Ce=0;Ce<6;Ce++){Ke=re[Ce].mipmaps;for(let at=0;at<Ke.length;at++){let Bt=Ke[at];b.format!==Oi?we!==null?Ge?le&&t.compressedTexSubImage2D(i.TEXTURE_CUBE_MAP_POSITIVE_X+Ce,at,0,0,Bt.width,Bt.height,we,Bt.data):t.compressedTexImage2D(i.TEXTURE_CUBE_MAP_POSITIVE_X+Ce,at,Se,Bt.width,Bt.height,0,Bt.data):Ye("WebGLRenderer: Attempt to load unsupported compressed texture format in .setTextureCube()"):Ge?le&&t.texSubImage2D(i.TEXTURE_CUBE_MAP_POSITIVE_X+Ce,at,0,0,Bt.width,Bt.height,we,ge,Bt.data):t.texImage2D(i.TEXTURE_CUBE_MAP_POSITIVE_X+Ce,at,Se,Bt.width,Bt.height,0,we,ge,Bt.data)}}}else{if(Ke=b.mipmaps,Ge&&Je){Ke.length>0&&Oe++;let Ce=qe(re[0]);t.texStorage2D(i.TEXTURE_CUBE_MAP,Oe,Se,Ce.width,Ce.height)}for(let Ce=0;Ce<6;Ce++)if(O){Ge?le&&t.texSubImage2D(i.TEXTURE_CUBE_MAP_POSITIVE_X+Ce,0,0,0,re[Ce].width,re[Ce].height,we,ge,re[Ce].data):t.texImage2D(i.TEXTURE_CUBE_MAP_POSITIVE_X+Ce,0,Se,re[Ce].width,re[Ce].height,0,we,ge,re[Ce].data);for(let at=0;at<Ke.length;at++){let zn=Ke[at].image[Ce].image;Ge?le&&t.texSubImage2D(i.TEXTURE_CUBE_MAP_POSITIVE_X+Ce,at+1,0,0,zn.width,zn.height,we,ge,zn.data):t.texImage2D(i.TEXTURE_CUBE_MAP_POSITIVE_X+Ce,at+1,Se,zn.width,zn.height,0,we,ge,zn.data)}}else{Ge?le&&t.texSubImage2D(i.TEXTURE_CUBE_MAP_POSITIVE_X+Ce,0,0,0,we,ge,re[Ce]):t.texImage2D(i.TEXTURE_CUBE_MAP_POSITIVE_X+Ce,0,Se,we,ge,re[Ce]);for(let at=0;at<Ke.length;at++){let Bt=Ke[at];Ge?le&&t.texSubImage2D(i.TEXTURE_CUBE_MAP_POSITIVE_X+Ce,at+1,0,0,we,ge,Bt.image[Ce]):t.texImage2D(i.TEXTURE_CUBE_MAP_POSITIVE_X+Ce,at+1,Se,we,ge,Bt.image[Ce])}}}T(b)&&b.mipmapsAutoUpdate===!0&&S(i.TEXTURE_CUBE_MAP),_e.__version=oe.version,b.onUpdate&&b.onUpdate(b)}R.__version=b.version}function It(R,b,q,he,oe,_e){let ye=r.convert(q.format,q.colorSpace),te=r.convert(q.type),ie=E(q.internalFormat,ye,te,q.normalized,q.colorSpace),pe=n.get(b),O=n.get(q);if(O.__renderTarget=b,!pe.__hasExternalTextures){let re=Math.max(1,b.width>>_e),ne=Math.max(1,b.height>>_e);oe===i.TEXTURE_3D||oe===i.TEXTURE_2D_ARRAY?t.texImage3D(oe,_e,ie,re,ne,b.depth,0,ye,te,null):t.texImage2D(oe,_e,ie,re,ne,0,ye,te,null)}t.bindFramebuffer(i.FRAMEBUFFER,R),Me(b)?a.framebufferTexture2DMultisampleEXT(i.FRAMEBUFFER,he,oe,O.__webglTexture,0,rt(b)):(oe===i.TEXTURE_2D||oe>=i.TEXTURE_CUBE_MAP_POSITIVE_X&&oe<=i.TEXTURE_CUBE_MAP_NEGATIVE_Z)&&i.framebufferTexture2D(i.FRAMEBUFFER,he,oe,O.__webglTexture,_e),t.bindFramebuffer(i.FRAMEBUFFER,null)}function vn(R,b,q){if(i.bindRenderbuffer(i.RENDERBUFFER,R),b.depthBuffer){let he=b.depthTexture,oe=he&&he.isDepthTexture?he.type:null,_e=x(b.stencilBuffer,oe),ye=b.stencilBuffer?i.DEPTH_STENCIL_ATTACHMENT:i.DEPTH_ATTACHMENT;Me(b)?a.renderbufferStorageMultisampleEXT(i.RENDERBUFFER,rt(b),_e,b.width,b.height):q?i.renderbufferStorageMultisample(i.RENDERBUFFER,rt(b),_e,b.width,b.height):i.renderbufferStorage(i.RENDERBUFFER,_e,b.width,b.height),i.framebufferRenderbuffer(i.FRAMEBUFFER,ye,i.RENDERBUFFER,R)}else{let he=b.textures;for(let oe=0;oe<he.length;oe++){let _e=he[oe],ye=r.convert(_e.format,_e.colorSpace),te=r.convert(_e.type),ie=E(_e.internalFormat,ye,te,_e.normalized,_e.colorSpace);Me(b)?a.renderbufferStorageMultisampleEXT(i.RENDERBUFFER,rt(b),ie,b.width,b.height):q?i.renderbufferStorageMultisample(i.RENDERBUFFER,rt(b),ie,b.width,b.height):i.renderbufferStorage(i.RENDERBUFFER,ie,b.width,b.height)}}i.bindRenderbuffer(i.RENDERBUFFER,null)}function yt(R,b,q){let he=b.isWebGLCubeRenderTarget===!0;if(t.bindFramebuffer(i.FRAMEBUFFER,R),!(b.depthTexture&&b.depthTexture.isDepthTexture))throw new Error("THREE.WebGLTextures: renderTarget.depthTexture must be an instance of THREE.DepthTexture.");let oe=n.get(b.depthTexture);oe.__renderTarget=b;let _e=he?b.depthTexture.image[0]:b.depthTexture.image;(!oe.__webglTexture||_e.width!==b.width||_e.height!==b.height)&&(_e.width=b.width,_e.height=b.height,b.depthTexture.needsUpdate=!0),he?be(b.depthTexture,0):me(b.depthTexture,0);let ye=oe.__webglTexture,te=rt(b),ie=he?i.TEXTURE_CUBE_MAP_POSITIVE_X+q:i.TEXTURE_2D,pe=b.depthTexture.format===Ms?i.DEPTH_STENCIL_ATTACHMENT:i.DEPTH_ATTACHMENT;if(b.depthTexture.format===xs)Me(b)?a.framebufferTexture2DMultisampleEXT(i.FRAMEBUFFER,pe,ie,ye,0,te):i.framebufferTexture2D(i.FRAMEBUFFER,pe,ie,ye,0);else if(b.depthTexture.format===Ms)Me(b)?a.framebufferTexture2DMultisampleEXT(i.FRAMEBUFFER,pe,ie,ye,0,te):i.framebufferTexture2D(i.FRAMEBUFFER,pe,ie,ye,0);else throw new Error("THREE.WebGLTextures: Unknown depthTexture format.")}function dn(R){let b=n.get(R),q=R.isWebGLCubeRenderTarget===!0;if(b.__boundDepthTexture!==R.depthTexture){let he=R.depthTexture;if(b.__depthDisposeCallback&&b.__depthDisposeCallback(),he){let oe=()=>{delete b.__boundDepthTexture,delete b.__depthDisposeCallback,he.removeEventListener("dispose",oe)};he.addEventListener("dispose",oe),b.__depthDisposeCallback=oe}b.__boundDepthTexture=he}if(R.depthTexture&&!b.__autoAllocateDepthBuffer)if(q)for(let he=0;he<6;he++)yt(b.__webglFramebuffer[he],R,he);else R.texture.mipmaps.length>0?yt(b.__webglFramebuffer[0],R,0):yt(b.__webglFramebuffer,R,0);else if(q){b.__webglDepthbuffer=[];for(let he=0;he<6;he++)if(t.bindFramebuffer(i.FRAMEBUFFER,b.__webglFramebuffer[he]),b.__webglDepthbuffer[he]===void 0)b.__webglDepthbuffer[he]=i.createRenderbuffer(),vn(b.__webglDepthbuffer[he],R,!1);else{let oe=R.stencilBuffer?i.DEPTH_STENCIL_ATTACHMENT:i.DEPTH_ATTACHMENT,_e=b.__webglDepthbuffer[he];i.bindRenderbuffer(i.RENDERBUFFER,_e),i.framebufferRenderbuffer(i.FRAMEBUFFER,oe,i.RENDERBUFFER,_e)}}else if(R.texture.mipmaps.length>0?t.bindFramebuffer(i.FRAMEBUFFER,b.__webglFramebuffer[0]):t.bindFramebuffer(i.FRAMEBUFFER,b.__webglFramebuffer),b.__webglDepthbuffer===void 0)b.__webglDepthbuffer=i.createRenderbuffer(),vn(b.__webglDepthbuffer,R,!1);else{let oe=R.stencilBuffer?i.DEPTH_STENCIL_ATTACHMENT:i.DEPTH_ATTACHMENT,_e=b.__webglDepthbuffer;i.bindRenderbuffer(i.RENDERBUFFER,_e),i.framebufferRenderbuffer(i.FRAMEBUFFER,oe,i.RENDERBUFFER,_e)}t.bindFramebuffer(i.FRAMEBUFFER,null)}function Yt(R,b,q){let he=n.get(R);b!==void 0&&It(he.__webglFramebuffer,R,R.texture,i.COLOR_ATTACHMENT0,i.TEXTURE_2D,0),q!==void 0&&dn(R)}function on(R){let b=R.texture,q=n.get(R),he=n.get(b);R.addEventListener("dispose",k),F(R);let oe=R.textures,_e=R.isWebGLCubeRenderTarget===!0,ye=oe.length>1;if(ye||(he.__webglTexture===void 0&&(he.__webglTexture=i.createTexture()),he.__version=b.version,o.memory.textures++),_e){q.__webglFramebuffer=[];for(let te=0;te<6;te++)if(b.mipmaps.length>0){q.__webglFramebuffer[te]=[];for(let ie=0;ie<b.mipmaps.length;ie++)q.__webglFramebuffer[te][ie]=i.createFramebuffer()}else q.__webglFramebuffer[te]=i.createFramebuffer()}else{if(b.mipmaps.length>0){q.__webglFramebuffer=[];for(let te=0;te<b.mipmaps.length;te++)q.__webglFramebuffer[te]=i.createFramebuffer()}else q.__webglFramebuffer=i.createFramebuffer();if(ye)for(let te=0,ie=oe.length;te<ie;te++){let pe=n.get(oe[te]);pe.__webglTexture===void 0&&(pe.__webglTexture=i.createTexture(),o.memory.textures++)}if(R.samples>0&&Me(R)===!1){q.__webglMultisampledFramebuffer=i.createFramebuffer(),q.__webglColorRenderbuffer=[],t.bindFramebuffer(i.FRAMEBUFFER,q.__webglMultisampledFramebuffer);for(let te=0;te<oe.length;te++){let ie=oe[te];q.__webglColorRenderbuffer[te]=i.createRenderbuffer(),i.bindRenderbuffer(i.RENDERBUFFER,q.__webglColorRenderbuffer[te]);let pe=r.convert(ie.format,ie.colorSpace),O=r.convert(ie.type),re=E(ie.internalFormat,pe,O,ie.normalized,ie.colorSpace,R.isXRRenderTarget===!0),ne=rt(R);i.renderbufferStorageMultisample(i.RENDERBUFFER,ne,re,R.width,R.height),i.framebufferRenderbuffer(i.FRAMEBUFFER,i.COLOR_ATTACHMENT0+te,i.RENDERBUFFER,q.__webglColorRenderbuffer[te])}i.bindRenderbuffer(i.RENDERBUFFER,null),R.depthBuffer&&(q.__webglDepthRenderbuffer=i.createRenderbuffer(),vn(q.__webglDepthRenderbuffer,R,!0)),t.bindFramebuffer(i.FRAMEBUFFER,null)}}if(_e){t.bindTexture(i.TEXTURE_CUBE_MAP,he.__webglTexture),ut(i.TEXTURE_CUBE_MAP,b);for(let te=0;te<6;te++)if(b.mipmaps.length>0)for(let ie=0;ie<b.mipmaps.length;ie++)It(q.__webglFramebuffer[te][ie],R,b,i.COLOR_ATTACHMENT0,i.TEXTURE_CUBE_MAP_POSITIVE_X+te,ie);else It(q.__webglFramebuffer[te],R,b,i.COLOR_ATTACHMENT0,i.TEXTURE_CUBE_MAP_POSITIVE_X+te,0);T(b)?S(i.TEXTURE_CUBE_MAP):b.mipmaps.length>0&&i.texParameteri(i.TEXTURE_CUBE_MAP,i.TEXTURE_MAX_LEVEL,b.mipmaps.length-1),t.unbindTexture()}else if(ye){for(let te=0,ie=oe.length;te<ie;te++){let pe=oe[te],O=n.get(pe),re=i.TEXTURE_2D;(R.isWebGL3DRenderTarget||R.isWebGLArrayRenderTarget)&&(re=R.isWebGL3DRenderTarget?i.TEXTURE_3D:i.TEXTURE_2D_ARRAY),t.bindTexture(re,O.__webglTexture),ut(re,pe),It(q.__webglFramebuffer,R,pe,i.COLOR_ATTACHMENT0+te,re,0),T(pe)&&S(re)}t.unbindTexture()}else{let te=i.TEXTURE_2D;if((R.isWebGL3DRenderTarget||R.isWebGLArrayRenderTarget)&&(te=R.isWebGL3DRenderTarget?i.TEXTURE_3D:i.TEXTURE_2D_ARRAY),t.bindTexture(te,he.__webglTexture),ut(te,b),b.mipmaps.length>0)for(let ie=0;ie<b.mipmaps.length;ie++)It(q.__webglFramebuffer[ie],R,b,i.COLOR_ATTACHMENT0,te,ie);else It(q.__webglFramebuffer,R,b,i.COLOR_ATTACHMENT0,te,0);T(b)?S(te):b.mipmaps.length>0&&i.texParameteri(te,i.TEXTURE_MAX_LEVEL,b.mipmaps.length-1),t.unbindTexture()}R.depthBuffer&&dn(R)}function B(R){let b=R.textures;for(let q=0,he=b.length;q<he;q++){let oe=b[q];if(T(oe)&&oe.mipmapsAutoUpdate===!0){let _e=C(R),ye=n.get(oe).__webglTexture;t.bindTexture(_e,ye),S(_e),t.unbindTexture()}}}let Re=[];function $e(R){if(R.samples>0){if(Me(R)===!1){let b=R.textures,q=R.width,he=R.height,oe=i.COLOR_BUFFER_BIT,_e=R.stencilBuffer?i.DEPTH_STENCIL_ATTACHMENT:i.DEPTH_ATTACHMENT,ye=n.get(R),te=b.length>1;if(te)for(let pe=0;pe<b.length;pe++)t.bindFramebuffer(i.FRAMEBUFFER,ye.__webglMultisampledFramebuffer),i.framebufferRenderbuffer(i.FRAMEBUFFER,i.COLOR_ATTACHMENT0+pe,i.RENDERBUFFER,null),t.bindFramebuffer(i.FRAMEBUFFER,ye.__webglFramebuffer),i.framebufferTexture2D(i.DRAW_FRAMEBUFFER,i.COLOR_ATTACHMENT0+pe,i.TEXTURE_2D,null,0);t.bindFramebuffer(i.READ_FRAMEBUFFER,ye.__webglMultisampledFramebuffer),R.texture.mipmaps.length>0?t.bindFramebuffer(i.DRAW_FRAMEBUFFER,ye.__webglFramebuffer[0]):t.bindFramebuffer(i.DRAW_FRAMEBUFFER,ye.__webglFramebuffer);for(let pe=0;pe<b.length;pe++){if(R.resolveDepthBuffer&&(R.depthBuffer&&(oe|=i.DEPTH_BUFFER_BIT),R.stencilBuffer&&R.resolveStencilBuffer&&(oe|=i.STENCIL_BUFFER_BIT)),te){i.framebufferRenderbuffer(i.READ_FRAMEBUFFER,i.COLOR_ATTACHMENT0,i.RENDERBUFFER,ye.__webglColorRenderbuffer[pe]);let O=n.get(b[pe]).__webglTexture;i.framebufferTexture2D(i.DRAW_FRAMEBUFFER,i.COLOR_ATTACHMENT0,i.TEXTURE_2D,O,0)}i.blitFramebuffer(0,0,q,he,0,0,q,he,oe,i.NEAREST),c===!0&&(Re.length=0,Re.push(i.COLOR_ATTACHMENT0+pe),R.depthBuffer&&R.storeMultisampledDepthBuffer===!1&&Re.push(_e),i.invalidateFramebuffer(i.READ_FRAMEBUFFER,Re))}if(t.bindFramebuffer(i.READ_FRAMEBUFFER,null),t.bindFramebuffer(i.DRAW_FRAMEBUFFER,null),te)for(let pe=0;pe<b.length;pe++){t.bindFramebuffer(i.FRAMEBUFFER,ye.__webglMultisampledFramebuffer),i.framebufferRenderbuffer(i.FRAMEBUFFER,i.COLOR_ATTACHMENT0+pe,i.RENDERBUFFER,ye.__webglColorRenderbuffer[pe]);let O=n.get(b[pe]).__webglTexture;t.bindFramebuffer(i.FRAMEBUFFER,ye.__webglFramebuffer),i.framebufferTexture2D(i.DRAW_FRAMEBUFFER,i.COLOR_ATTACHMENT0+pe,i.TEXTURE_2D,O,0)}t.bindFramebuffer(i.DRAW_FRAMEBUFFER,ye.__webglMultisampledFramebuffer)}else if(R.depthBuffer&&R.storeMultisampledDepthBuffer===!1&&c){let b=R.stencilBuffer?i.DEPTH_STENCIL_ATTACHMENT:i.DEPTH_ATTACHMENT;i.invalidateFramebuffer(i.DRAW_FRAMEBUFFER,[b])}}}function rt(R){return Math.min(s.maxSamples,R.samples)}function Me(R){let b=n.get(R);return R.samples>0&&e.has("WEBGL_multisampled_render_to_texture")===!0&&b.__useRenderToTexture!==!1}function Nt(R){let b=o.render.frame;u.get(R)!==b&&(u.set(R,b),R.update())}function ze(R,b){let q=R.colorSpace,he=R.format,oe=R.type;return R.isCompressedTexture===!0||R.isVideoTexture===!0||q!==oa&&q!==ws&&(xt.getTransfer(q)===At?(he!==Oi||oe!==jn)&&Ye("WebGLTextures: sRGB encoded textures have to use RGBAFormat and UnsignedByteType."):et("WebGLTextures: Unsupported texture color space:",q)),b}function qe(R){return typeof HTMLImageElement<"u"&&R instanceof HTMLImageElement?(l.width=R.naturalWidth||R.width,l.height=R.naturalHeight||R.height):typeof VideoFrame<"u"&&R instanceof VideoFrame?(l.width=R.displayWidth,l.height=R.displayHeight):(l.width=R.width,l.height=R.height),l}this.allocateTextureUnit=ue,this.resetTextureUnits=Q,this.getTextureUnits=se,this.setTextureUnits=fe,this.setTexture2D=me,this.setTexture2DArray=xe,this.setTexture3D=Te,this.setTextureCube=be,this.rebindTextures=Yt,this.setupRenderTarget=on,this.updateRenderTargetMipmap=B,this.updateMultisampleRenderTarget=$e,this.setupDepthRenderbuffer=dn,this.setupFrameBufferTexture=It,this.useMultisampledRTT=Me,this.dispose=W}function xA(i,e){function t(n,s=ws){let r,o=xt.getTransfer(s);if(n===jn)return i.UNSIGNED_BYTE;if(n===Kc)return i.UNSIGNED_SHORT_4_4_4_4;if(n===jc)return i.UNSIGNED_SHORT_5_5_5_1;if(n===sd)return i.UNSIGNED_INT_5_9_9_9_REV;if(n===rd)return i.UNSIGNED_INT_10F_11F_11F_REV;if(n===nd)return i.BYTE;if(n===id)return i.SHORT;if(n===bo)return i.UNSIGNED_SHORT;if(n===Jc)return i.INT;if(n===Ni)return i.UNSIGNED_INT;if(n===Ui)return i.FLOAT;if(n===Fi)return i.HALF_FLOAT;if(n===od)return i.ALPHA;if(n===ad)return i.RGB;if(n===Oi)return i.RGBA;if(n===xs)return i.DEPTH_COMPONENT;if(n===Ms)return i.DEPTH_STENCIL;if(n===ld)return i.RED;if(n===Qc)return i.RED_INTEGER;if(n===qs)return i.RG;if(n===eh)return i.RG_INTEGER;if(n===th)return i.RGBA_INTEGER;if(n===Ba||n===ka||n===za||n===Va)if(o===At)if(r=e.get("WEBGL_compressed_texture_s3tc_srgb"),r!==null){if(n===Ba)return r.COMPRESSED_SRGB_S3TC_DXT1_EXT;if(n===ka)return r.COMPRESSED_SRGB_ALPHA_S3TC_DXT1_EXT;if(n===za)return r.COMPRESSED_SRGB_ALPHA_S3TC_DXT3_EXT;if(n===Va)return r.COMPRESSED_SRGB_ALPHA_S3TC_DXT5_EXT}else return null;else if(r=e.get("WEBGL_compressed_texture_s3tc"),r!==null){if(n===Ba)return r.COMPRESSED_RGB_S3TC_DXT1_EXT;if(n===ka)return r.COMPRESSED_RGBA_S3TC_DXT1_EXT;if(n===za)return r.COMPRESSED_RGBA_S3TC_DXT3_EXT;if(n===Va)return r.COMPRESSED_RGBA_S3TC_DXT5_EXT}else return null;if(n===nh||n===ih||n===sh||n===rh)if(r=e.get("WEBGL_compressed_texture_pvrtc"),r!==null){if(n===nh)return r.COMPRESSED_RGB_PVRTC_4BPPV1_IMG;if(n===ih)return r.COMPRESSED_RGB_PVRTC_2BPPV1_IMG;if(n===sh)return r.COMPRESSED_RGBA_PVRTC_4BPPV1_IMG;if(n===rh)return r.COMPRESSED_RGBA_PVRTC_2BPPV1_IMG}else return null;if(n===oh||n===ah||n===lh||n===ch||n===hh||n===Ga||n===uh)if(r=e.get("WEBGL_compressed_texture_etc"),r!==null){if(n===oh||n===ah)return o===At?r.COMPRESSED_SRGB8_ETC2:r.COMPRESSED_RGB8_ETC2;if(n===lh)return o===At?r.COMPRESSED_SRGB8_ALPHA8_ETC2_EAC:r.COMPRESSED_RGBA8_ETC2_EAC;if(n===ch)return r.COMPRESSED_R11_EAC;if(n===hh)return r.COMPRESSED_SIGNED_R11_EAC;if(n===Ga)return r.COMPRESSED_RG11_EAC;if(n===uh)return r.COMPRESSED_SIGNED_RG11_EAC}else return null;if(n===fh||n===dh||n===ph||n===mh||n===gh||n===_h||n===xh||n===yh||n===vh||n===Sh||n===bh||n===Mh||n===wh||n===Ah)if(r=e.get("WEBGL_compressed_texture_astc"),r!==null){if(n===fh)return o===At?r.COMPRESSED_SRGB8_ALPHA8_ASTC_4x4_KHR:r.COMPRESSED_RGBA_ASTC_4x4_KHR;if(n===dh)return o===At?r.COMPRESSED_SRGB8_ALPHA8_ASTC_5x4_KHR:r.COMPRESSED_RGBA_ASTC_5x4_KHR;if(n===ph)return o===At?r.COMPRESSED_SRGB8_ALPHA8_ASTC_5x5_KHR:r.COMPRESSED_RGBA_ASTC_5x5_KHR;if(n===mh)return o===At?r.COMPRESSED_SRGB8_ALPHA8_ASTC_6x5_KHR:r.COMPRESSED_RGBA_ASTC_6x5_KHR;if(n===gh)return o===At?r.COMPRESSED_SRGB8_ALPHA8_ASTC_6x6_KHR:r.COMPRESSED_RGBA_ASTC_6x6_KHR;if(n===_h)return o===At?r.COMPRESSED_SRGB8_ALPHA8_ASTC_8x5_KHR:r.COMPRESSED_RGBA_ASTC_8x5_KHR;if(n===xh)return o===At?r.COMPRESSED_SRGB8_ALPHA8_ASTC_8x6_KHR:r.COMPRESSED_RGBA_ASTC_8x6_KHR;if(n===yh)return o===At?r.COMPRESSED_SRGB8_ALPHA8_ASTC_8x8_KHR:r.COMPRESSED_RGBA_ASTC_8x8_KHR;if(n===vh)return o===At?r.COMPRESSED_SRGB8_ALPHA8_ASTC_10x5_KHR:r.COMPRESSED_RGBA_ASTC_10x5_KHR;if(n===Sh)return o===At?r.COMPRESSED_SRGB8_ALPHA8_ASTC_10x6_KHR:r.COMPRESSED_RGBA_ASTC_10x6_KHR;if(n===bh)return o===At?r.COMPRESSED_SRGB8_ALPHA8_ASTC_10x8_KHR:r.COMPRESSED_RGBA_ASTC_10x8_KHR;if(n===Mh)return o===At?r.COMPRESSED_SRGB8_ALPHA8_ASTC_10x10_KHR:r.COMPRESSED_RGBA_ASTC_10x10_KHR;if(n===wh)return o===At?r.COMPRESSED_SRGB8_ALPHA8_ASTC_12x10_KHR:r.COMPRESSED_RGBA_ASTC_12x10_KHR;if(n===Ah)return o===At?r.COMPRESSED_SRGB8_ALPHA8_ASTC_12x12_KHR:r.COMPRESSED_RGBA_ASTC_12x12_KHR}else return null;if(n===Eh||n===Th||n===Ch)if(r=e.get("EXT_texture_compression_bptc"),r!==null){if(n===Eh)return o===At?r.COMPRESSED_SRGB_ALPHA_BPTC_UNORM_EXT:r.COMPRESSED_RGBA_BPTC_UNORM_EXT;if(n===Th)return r.COMPRESSED_RGB_BPTC_SIGNED_FLOAT_EXT;if(n===Ch)return r.COMPRESSED_RGB_BPTC_UNSIGNED_FLOAT_EXT}else return null;if(n===Rh||n===Ph||n===Ha||n===Ih)if(r=e.get("EXT_texture_compression_rgtc"),r!==null){if(n===Rh)return r.COMPRESSED_RED_RGTC1_EXT;if(n===Ph)return r.COMPRESSED_SIGNED_RED_RGTC1_EXT;if(n===Ha)return r.COMPRESSED_RED_GREEN_RGTC2_EXT;if(n===Ih)return r.COMPRESSED_SIGNED_RED_GREEN_RGTC2_EXT}else return null;return n===pr?i.UNSIGNED_INT_24_8:i[n]!==void 0?i[n]:null}return{convert:t}}var yA=`
void main() {

	gl_Position = vec4( position, 1.0 );

}`,vA=`
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

}`,Od=class{constructor(){this.texture=null,this.mesh=null,this.depthNear=0,this.depthFar=0}init(e,t){if(this.texture===null){let n=new xa(e.texture);(e.depthNear!==t.depthNear||e.depthFar!==t.depthFar)&&(this.depthNear=e.depthNear,this.depthFar=e.depthFar),this.texture=n}}getMesh(e){if(this.texture!==null&&this.mesh===null){let t=e.cameras[0].viewport,n=new Zn({vertexShader:yA,fragmentShader:vA,uniforms:{depthColor:{value:this.texture},depthWidth:{value:t.z},depthHeight:{value:t.w}}});this.mesh=new en(new Ma(20,20),n)}return this.mesh}reset(){this.texture=null,this.mesh=null}getDepthTexture(){return this.texture}},Bd=class extends $i{constructor(e,t){super();let n=this,s=null,r=1,o=null,a="local-floor",c=1,l=null,u=null,h=null,f=null,d=null,g=null,v=typeof XRWebGLBinding<"u",m=new Od,p={},y=t.getContextAttributes(),T=null,S=null,C=[],E=[],x=new He,A=null,F=null,L=new Yn;L.viewport=new Et;let I=new Yn;I.viewport=new Et;let k=[L,I],V=new Wc,N=null,W=null;this.cameraAutoUpdate=!0,this.enabled=!1,this.isPresenting=!1,this.getController=function(ee){let me=C[ee];return me===void 0&&(me=new po,C[ee]=me),me.getTargetRaySpace()},this.getControllerGrip=function(ee){let me=C[ee];return me===void 0&&(me=new po,C[ee]=me),me.getGripSpace()},this.getHand=function(ee){let me=C[ee];return me===void 0&&(me=new po,C[ee]=me),me.getHandSpace()};function $(ee){let me=E.indexOf(ee.inputSource);if(me===-1)return;let xe=C[me];xe!==void 0&&(xe.update(ee.inputSource,ee.frame,l||o),xe.dispatchEvent({type:ee.type,data:ee.inputSource}))}function H(){s.removeEventListener("select",$),s.removeEventListener("selectstart",$),s.removeEventListener("selectend",$),s.removeEventListener("squeeze",$),s.removeEventListener("squeezestart",$),s.removeEventListener("squeezeend",$),s.removeEventListener("end",H),s.removeEventListener("inputsourceschange",ce);for(let ee=0;ee<C.length;ee++){let me=E[ee];me!==null&&(E[ee]=null,C[ee].disconnect(me))}N=null,W=null,m.reset();for(let ee in p)delete p[ee];if(e.setRenderTarget(T),d=null,f=null,h=null,s=null,S=null,ue.stop(),n.isPresenting=!1,e.setPixelRatio(A),e.setSize(x.width,x.height,!1),F!==null){let ee=F.camera;ee.fov=F.fov,ee.zoom=F.zoom,ee.updateProjectionMatrix(),F=null}n.dispatchEvent({type:"sessionend"})}this.setFramebufferScaleFactor=function(ee){r=ee,n.isPresenting===!0&&Ye("WebXRManager: Cannot change framebuffer scale while presenting.")},this.setReferenceSpaceType=function(ee){a=ee,n.isPresenting===!0&&Ye("WebXRManager: Cannot change reference space type while presenting.")},this.getReferenceSpace=function(){return l||o},this.setReferenceSpace=function(ee){l=ee},this.getBaseLayer=function(){return f!==null?f:d},this.getBinding=function(){return h===null&&v&&(h=new XRWebGLBinding(s,t)),h},this.getFrame=function(){return g},this.getSession=function(){return s},this.setSession=async function(ee){if(s=ee,s!==null){if(T=e.getRenderTarget(),s.addEventListener("select",$),s.addEventListener("selectstart",$),s.addEventListener("selectend",$),s.addEventListener("squeeze",$),s.addEventListener("squeezestart",$),s.addEventListener("squeezeend",$),s.addEventListener("end",H),s.addEventListener("inputsourceschange",ce),y.xrCompatible!==!0&&await t.makeXRCompatible(),A=e.getPixelRatio(),e.getSize(x),v&&"createProjectionLayer"in XRWebGLBinding.prototype){let xe=null,Te=null,be=null;y.depth&&(be=y.stencil?t.DEPTH24_STENCIL8:t.DEPTH_COMPONENT24,xe=y.stencil?Ms:xs,Te=y.stencil?pr:Ni);let We={colorFormat:t.RGBA8,depthFormat:be,scaleFactor:r};h=this.getBinding(),f=h.createProjectionLayer(We),s.updateRenderState({layers:[f]}),e.setPixelRatio(1),e.setSize(f.textureWidth,f.textureHeight,!1),S=new fi(f.textureWidth,f.textureHeight,{format:Oi,type:jn,depthTexture:new Ss(f.textureWidth,f.textureHeight,Te,void 0,void 0,void 0,void 0,void 0,void 0,xe),stencilBuffer:y.stencil,colorSpace:e.outputColorSpace,samples:y.antialias?4:0,resolveDepthBuffer:f.ignoreDepthValues===!1,resolveStencilBuffer:f.ignoreDepthValues===!1,storeMultisampledDepthBuffer:f.ignoreDepthValues===!1,storeMultisampledStencilBuffer:f.ignoreDepthValues===!1})}else{let xe={antialias:y.antialias,alpha:!0,depth:y.depth,stencil:y.stencil,framebufferScaleFactor:r};d=new XRWebGLLayer(s,t,xe),s.updateRenderState({baseLayer:d}),e.setPixelRatio(1),e.setSize(d.framebufferWidth,d.framebufferHeight,!1),S=new fi(d.framebufferWidth,d.framebufferHeight,{format:Oi,type:jn,colorSpace:e.outputColorSpace,stencilBuffer:y.stencil,resolveDepthBuffer:d.ignoreDepthValues===!1,resolveStencilBuffer:d.ignoreDepthValues===!1,storeMultisampledDepthBuffer:d.ignoreDepthValues===!1,storeMultisampledStencilBuffer:d.ignoreDepthValues===!1})}S.isXRRenderTarget=!0,this.setFoveation(c),l=null,o=await s.requestReferenceSpace(a),ue.setContext(s),ue.start(),n.isPresenting=!0,n.dispatchEvent({type:"sessionstart"})}},this.getEnvironmentBlendMode=function(){if(s!==null)return s.environmentBlendMode},this.getDepthTexture=function(){return m.getDepthTexture()};function ce(ee){for(let me=0;me<ee.removed.length;me++){let xe=ee.removed[me],Te=E.indexOf(xe);Te>=0&&(E[Te]=null,C[Te].disconnect(xe))}for(let me=0;me<ee.added.length;me++){let xe=ee.added[me],Te=E.indexOf(xe);if(Te===-1){for(let We=0;We<C.length;We++)if(We>=E.length){E.push(xe),Te=We;break}else if(E[We]===null){E[We]=xe,Te=We;break}if(Te===-1)break}let be=C[Te];be&&be.connect(xe)}}function K(ee,me){me===null?ee.matrixWorld.copy(ee.matrix):ee.matrixWorld.multiplyMatrices(me.matrixWorld,ee.matrix),ee.matrixWorldInverse.copy(ee.matrixWorld).invert()}this.updateCamera=function(ee){if(s===null)return;let me=ee.near,xe=ee.far;m.texture!==null&&(m.depthNear>0&&(me=m.depthNear),m.depthFar>0&&(xe=m.depthFar)),V.near=I.near=L.near=me,V.far=I.far=L.far=xe,(N!==V.near||W!==V.far)&&(s.updateRenderState({depthNear:V.near,depthFar:V.far}),N=V.near,W=V.far),V.layers.mask=ee.layers.mask|6,L.layers.mask=V.layers.mask&-5,I.layers.mask=V.layers.mask&-3;let Te=ee.parent,be=V.cameras;K(V,Te);for(let We=0;We<be.length;We++)K(be[We],Te);V.projectionMatrix.copy(L.projectionMatrix),V.projectionMatrixInverse.copy(L.projectionMatrixInverse),F===null&&ee.isPerspectiveCamera&&(F={camera:ee,fov:ee.fov,zoom:ee.zoom}),Q(ee,V,Te)};function Q(ee,me,xe){xe===null?ee.matrix.copy(me.matrixWorld):(ee.matrix.copy(xe.matrixWorld),ee.matrix.invert(),ee.matrix.multiply(me.matrixWorld)),ee.matrix.decompose(ee.position,ee.quaternion,ee.scale),ee.updateMatrixWorld(!0),ee.projectionMatrix.copy(me.projectionMatrix),ee.projectionMatrixInverse.copy(me.projectionMatrixInverse),ee.isPerspectiveCamera&&(ee.fov=uo*2*Math.atan(1/ee.projectionMatrix.elements[5]),ee.zoom=1)}this.getCamera=function(){return V},this.getFoveation=function(){if(!(f===null&&d===null))return c},this.setFoveation=function(ee){c=ee,f!==null&&(f.fixedFoveation=ee),d!==null&&d.fixedFoveation!==void 0&&(d.fixedFoveation=ee)},this.hasDepthSensing=function(){return m.texture!==null},this.getDepthSensingMesh=function(){return m.getMesh(V)},this.getCameraTexture=function(ee){return p[ee]};let se=null;function fe(ee,me){if(u=me.getViewerPose(l||o),g=me,u!==null){let xe=u.views;d!==null&&(e.setRenderTargetFramebuffer(S,d.framebuffer),e.setRenderTarget(S));let Te=!1;xe.length!==V.cameras.length&&(V.cameras.length=0,Te=!0);for(let Ve=0;Ve<xe.length;Ve++){let ut=xe[Ve],lt=null;if(d!==null)lt=d.getViewport(ut);else{let Wt=h.getViewSubImage(f,ut);lt=Wt.viewport,Ve===0&&(e.setRenderTargetTextures(S,Wt.colorTexture,Wt.depthStencilTexture),e.setRenderTarget(S))}let nt=k[Ve];nt===void 0&&(nt=new Yn,nt.layers.enable(Ve),nt.viewport=new Et,k[Ve]=nt),nt.matrix.fromArray(ut.transform.matrix),nt.matrix.decompose(nt.position,nt.quaternion,nt.scale),nt.projectionMatrix.fromArray(ut.projectionMatrix),nt.projectionMatrixInverse.copy(nt.projectionMatrix).invert(),nt.viewport.set(lt.x,lt.y,lt.width,lt.height),Ve===0&&(V.matrix.copy(nt.matrix),V.matrix.decompose(V.position,V.quaternion,V.scale)),Te===!0&&V.cameras.push(nt)}let be=s.enabledFeatures;if(be&&be.includes("depth-sensing")&&s.depthUsage=="gpu-optimized"&&v){h=n.getBinding();let Ve=h.getDepthInformation(xe[0]);Ve&&Ve.isValid&&Ve.texture&&m.init(Ve,s.renderState)}if(be&&be.includes("camera-access")&&v){e.state.unbindTexture(),h=n.getBinding();for(let Ve=0;Ve<xe.length;Ve++){let ut=xe[Ve].camera;if(ut){let lt=p[ut];lt||(lt=new xa,p[ut]=lt);let nt=h.getCameraImage(ut);lt.sourceTexture=nt}}}}for(let xe=0;xe<C.length;xe++){let Te=E[xe],be=C[xe];Te!==null&&be!==void 0&&be.update(Te,me,l||o)}se&&se(ee,me),me.detectedPlanes&&n.dispatchEvent({type:"planesdetected",data:me}),g=null}let ue=new S_;ue.setAnimationLoop(fe),this.setAnimationLoop=function(ee){se=ee},this.dispose=function(){}}},SA=new Dt,I_=new tt;I_.set(-1,0,0,0,1,0,0,0,1);function bA(i,e){function t(m,p){m.matrixAutoUpdate===!0&&m.updateMatrix(),p.value.copy(m.matrix)}function n(m,p){p.color.getRGB(m.fogColor.value,vd(i)),p.isFog?(m.fogNear.value=p.near,m.fogFar.value=p.far):p.isFogExp2&&(m.fogDensity.value=p.density)}function s(m,p,y,T,S){p.isNodeMaterial?p.uniformsNeedUpdate=!1:p.isMeshBasicMaterial?r(m,p):p.isMeshLambertMaterial?(r(m,p),p.envMap&&(m.envMapIntensity.value=p.envMapIntensity)):p.isMeshToonMaterial?(r(m,p),h(m,p)):p.isMeshPhongMaterial?(r(m,p),u(m,p),p.envMap&&(m.envMapIntensity.value=p.envMapIntensity)):p.isMeshStandardMaterial?(r(m,p),f(m,p),p.isMeshPhysicalMaterial&&d(m,p,S)):p.isMeshMatcapMaterial?(r(m,p),g(m,p)):p.isMeshDepthMaterial?r(m,p):p.isMeshDistanceMaterial?(r(m,p),v(m,p)):p.isMeshNormalMaterial?r(m,p):p.isLineBasicMaterial?(o(m,p),p.isLineDashedMaterial&&a(m,p)):p.isPointsMaterial?c(m,p,y,T):p.isSpriteMaterial?l(m,p):p.isShadowMaterial?(m.color.value.copy(p.color),m.opacity.value=p.opacity):p.isShaderMaterial&&(p.uniformsNeedUpdate=!1)}function r(m,p){m.opacity.value=p.opacity,p.color&&m.diffuse.value.copy(p.color),p.emissive&&m.emissive.value.copy(p.emissive).multiplyScalar(p.emissiveIntensity),p.map&&(m.map.value=p.map,t(p.map,m.mapTransform)),p.alphaMap&&(m.alphaMap.value=p.alphaMap,t(p.alphaMap,m.alphaMapTransform)),p.bumpMap&&(m.bumpMap.value=p.bumpMap,t(p.bumpMap,m.bumpMapTransform),m.bumpScale.value=p.bumpScale,p.side===Cn&&(m.bumpScale.value*=-1)),p.normalMap&&(m.normalMap.value=p.normalMap,t(p.normalMap,m.normalMapTransform),m.normalScale.value.copy(p.normalScale),p.side===Cn&&m.normalScale.value.negate()),p.displacementMap&&(m.displacementMap.value=p.displacementMap,t(p.displacementMap,m.displacementMapTransform),m.displacementScale.value=p.displacementScale,m.displacementBias.value=p.displacementBias),p.emissiveMap&&(m.emissiveMap.value=p.emissiveMap,t(p.emissiveMap,m.emissiveMapTransform)),p.specularMap&&(m.specularMap.value=p.specularMap,t(p.specularMap,m.specularMapTransform)),p.alphaTest>0&&(m.alphaTest.value=p.alphaTest);let y=e.get(p),T=y.envMap,S=y.envMapRotation;T&&(m.envMap.value=T,m.envMapRotation.value.setFromMatrix4(SA.makeRotationFromEuler(S)).transpose(),T.isCubeTexture&&T.isRenderTargetTexture===!1&&m.envMapRotation.value.premultiply(I_),m.reflectivity.value=p.reflectivity,m.ior.value=p.ior,m.refractionRatio.value=p.refractionRatio),p.lightMap&&(m.lightMap.value=p.lightMap,m.lightMapIntensity.value=p.lightMapIntensity,t(p.lightMap,m.lightMapTransform)),p.aoMap&&(m.aoMap.value=p.aoMap,m.aoMapIntensity.value=p.aoMapIntensity,t(p.aoMap,m.aoMapTransform))}function o(m,p){m.diffuse.value.copy(p.color),m.opacity.value=p.opacity,p.map&&(m.map.value=p.map,t(p.map,m.mapTransform))}function a(m,p){m.dashSize.value=p.dashSize,m.totalSize.value=p.dashSize+p.gapSize,m.scale.value=p.scale}function c(m,p,y,T){m.diffuse.value.copy(p.color),m.opacity.value=p.opacity,m.size.value=p.size*y,m.scale.value=T*.5,p.map&&(m.map.value=p.map,t(p.map,m.uvTransform)),p.alphaMap&&(m.alphaMap.value=p.alphaMap,t(p.alphaMap,m.alphaMapTransform)),p.alphaTest>0&&(m.alphaTest.value=p.alphaTest)}function l(m,p){m.diffuse.value.copy(p.color),m.opacity.value=p.opacity,m.rotation.value=p.rotation,p.map&&(m.map.value=p.map,t(p.map,m.mapTransform)),p.alphaMap&&(m.alphaMap.value=p.alphaMap,t(p.alphaMap,m.alphaMapTransform)),p.alphaTest>0&&(m.alphaTest.value=p.alphaTest)}function u(m,p){m.specular.value.copy(p.specular),m.shininess.value=Math.max(p.shininess,1e-4)}function h(m,p){p.gradientMap&&(m.gradientMap.value=p.gradientMap)}function f(m,p){m.metalness.value=p.metalness,p.metalnessMap&&(m.metalnessMap.value=p.metalnessMap,t(p.metalnessMap,m.metalnessMapTransform)),m.roughness.value=p.roughness,p.roughnessMap&&(m.roughnessMap.value=p.roughnessMap,t(p.roughnessMap,m.roughnessMapTransform)),p.envMap&&(m.envMapIntensity.value=p.envMapIntensity)}function d(m,p,y){m.ior.value=p.ior,p.diffuseRoughness>0&&(m.diffuseRoughness.value=p.diffuseRoughness,p.diffuseRoughnessMap&&(m.diffuseRoughnessMap.value=p.diffuseRoughnessMap,t(p.diffuseRoughnessMap,m.diffuseRoughnessMapTransform))),p.sheen>0&&(m.sheenColor.value.copy(p.sheenColor).multiplyScalar(p.sheen),m.sheenRoughness.value=p.sheenRoughness,p.sheenColorMap&&(m.sheenColorMap.value=p.sheenColorMap,t(p.sheenColorMap,m.sheenColorMapTransform)),p.sheenRoughnessMap&&(m.sheenRoughnessMap.value=p.sheenRoughnessMap,t(p.sheenRoughnessMap,m.sheenRoughnessMapTransform))),p.clearcoat>0&&(m.clearcoat.value=p.clearcoat,m.clearcoatRoughness.value=p.clearcoatRoughness,p.clearcoatMap&&(m.clearcoatMap.value=p.clearcoatMap,t(p.clearcoatMap,m.clearcoatMapTransform)),p.clearcoatRoughnessMap&&(m.clearcoatRoughnessMap.value=p.clearcoatRoughnessMap,t(p.clearcoatRoughnessMap,m.clearcoatRoughnessMapTransform)),p.clearcoatNormalMap&&(m.clearcoatNormalMap.value=p.clearcoatNormalMap,t(p.clearcoatNormalMap,m.clearcoatNormalMapTransform),m.clearcoatNormalScale.value.copy(p.clearcoatNormalScale),p.side===Cn&&m.clearcoatNormalScale.value.negate())),p.dispersion>0&&(m.dispersion.value=p.dispersion),p.retroreflectivity>0&&(m.retroreflectivity.value=p.retroreflectivity),p.iridescence>0&&(m.iridescence.value=p.iridescence,m.iridescenceIOR.value=p.iridescenceIOR,m.iridescenceThicknessMinimum.value=p.iridescenceThicknessMinimum,m.iridescenceThicknessMaximum.value=p.iridescenceThicknessMaximum,p.iridescenceMap&&(m.iridescenceMap.value=p.iridescenceMap,t(p.iridescenceMap,m.iridescenceMapTransform)),p.iridescenceThicknessMap&&(m.iridescenceThicknessMap.value=p.iridescenceThicknessMap,t(p.iridescenceThicknessMap,m.iridescenceThicknessMapTransform))),p.transmission>0&&(m.transmission.value=p.transmission,m.transmissionSamplerMap.value=y.texture,m.transmissionSamplerSize.value.set(y.width,y.height),p.transmissionMap&&(m.transmissionMap.value=p.transmissionMap,t(p.transmissionMap,m.transmissionMapTransform)),m.thickness.value=p.thickness,p.thicknessMap&&(m.thicknessMap.value=p.thicknessMap,t(p.thicknessMap,m.thicknessMapTransform)),m.attenuationDistance.value=p.attenuationDistance,m.attenuationColor.value.copy(p.attenuationColor)),p.anisotropy>0&&(m.anisotropyVector.value.set(p.anisotropy*Math.cos(p.anisotropyRotation),p.anisotropy*Math.sin(p.anisotropyRotation)),p.anisotropyMap&&(m.anisotropyMap.value=p.anisotropyMap,t(p.anisotropyMap,m.anisotropyMapTransform))),m.specularIntensity.value=p.specularIntensity,m.specularColor.value.copy(p.specularColor),p.specularColorMap&&(m.specularColorMap.value=p.specularColorMap,t(p.specularColorMap,m.specularColorMapTransform)),p.specularIntensityMap&&(m.specularIntensityMap.value=p.specularIntensityMap,t(p.specularIntensityMap,m.specularIntensityMapTransform))}function g(m,p){p.matcap&&(m.matcap.value=p.matcap)}function v(m,p){let y=e.get(p).light;m.referencePosition.value.setFromMatrixPosition(y.matrixWorld),m.nearDistance.value=y.shadow.camera.near,m.farDistance.value=y.shadow.camera.far}return{refreshFogUniforms:n,refreshMaterialUniforms:s}}function MA(i,e,t,n){let s={},r={};function o(y,T){let S=T.program;n.uniformBlockBinding(y,S,s[y.id])}function a(y,T){let S=s[y.id];S===void 0&&(g(y),S=c(y),s[y.id]=S,y.addEventListener("dispose",m));let C=T.program;n.updateUBOMapping(y,C);let E=e.render.frame;r[y.id]!==E&&(l(y),r[y.id]=E)}function c(y){let T=i.createBuffer(),S=y.__size,C=y.usage;return i.bindBuffer(i.UNIFORM_BUFFER,T),i.bufferData(i.UNIFORM_BUFFER,S,C),i.bindBuffer(i.UNIFORM_BUFFER,null),T}function l(y){let T=s[y.id],S=y.uniforms,C=y.__cache;i.bindBuffer(i.UNIFORM_BUFFER,T);for(let E=0,x=S.length;E<x;E++){let A=S[E];if(Array.isArray(A))for(let F=0,L=A.length;F<L;F++)u(A[F],E,F,C);else u(A,E,0,C)}i.bindBuffer(i.UNIFORM_BUFFER,null)}function u(y,T,S,C){if(f(y,T,S,C)===!0){let E=y.__offset,x=y.value;if(Array.isArray(x)){let A=0;for(let F=0;F<x.length;F++){let L=x[F],I=v(L,!0);h(L,y.__data,A),A+=I.storage/Float32Array.BYTES_PER_ELEMENT}}else h(x,y.__data,0);i.bufferSubData(i.UNIFORM_BUFFER,E,y.__data)}}function h(y,T,S){typeof y=="number"||typeof y=="boolean"?T[S]=y:y.isMatrix3?(T[S]=y.elements[0],T[S+1]=y.elements[1],T[S+2]=y.elements[2],T[S+3]=0,T[S+4]=y.elements[3],T[S+5]=y.elements[4],T[S+6]=y.elements[5],T[S+7]=0,T[S+8]=y.elements[6],T[S+9]=y.elements[7],T[S+10]=y.elements[8],T[S+11]=0):ArrayBuffer.isView(y)?T.set(y.subarray(0,T.length-S),S):y.toArray(T,S)}function f(y,T,S,C){let E=y.value,x=T+"_"+S;if(Array.isArray(E)){C[x]===void 0&&(C[x]=[]);let A=C[x],F=!1;for(let L=0;L<E.length;L++)d(E[L],A,L)===!0&&(F=!0);return F}return d(E,C,x)}function d(y,T,S){if(T[S]===void 0)return typeof y=="number"||typeof y=="boolean"?T[S]=y:ArrayBuffer.isView(y)?T[S]=y.slice():T[S]=y.clone(),!0;{let C=T[S];if(typeof y=="number"||typeof y=="boolean"){if(C!==y)return T[S]=y,!0}else{if(ArrayBuffer.isView(y))return!0;if(C.equals(y)===!1)return C.copy(y),!0}}return!1}function g(y){let T=y.uniforms,S=0,C=16;for(let x=0,A=T.length;x<A;x++){let F=Array.isArray(T[x])?T[x]:[T[x]];for(let L=0,I=F.length;L<I;L++){let k=F[L],V=Array.isArray(k.value)?k.value:[k.value],N=Array.isArray(T[x])||Array.isArray(k.value),W=S;for(let H=0,ce=V.length;H<ce;H++){let K=V[H],Q=v(K,N),se=S%C,fe=se%Q.boundary,ue=se+fe;S+=fe,ue!==0&&C-ue<Q.storage&&(S+=C-ue),H===0&&(W=S),S+=Q.storage}let $=k.type==="int"?Int32Array:k.type==="uint"?Uint32Array:Float32Array;k.__data=new $((S-W)/Float32Array.BYTES_PER_ELEMENT),k.__offset=W}}let E=S%C;return E>0&&(S+=C-E),y.__size=S,y.__cache={},this}function v(y,T){let S={boundary:0,storage:0};return typeof y=="number"||typeof y=="boolean"?(S.boundary=4,S.storage=4):y.isVector2?(S.boundary=8,S.storage=8):y.isVector3||y.isColor?(S.boundary=16,S.storage=12):y.isVector4?(S.boundary=16,S.storage=16):y.isMatrix3?(S.boundary=16,S.storage=48):y.isMatrix4?(S.boundary=16,S.storage=64):y.isTexture?Ye("WebGLRenderer: Texture samplers can not be part of an uniforms group."):ArrayBuffer.isView(y)?(S.boundary=16,S.storage=y.byteLength):Ye("WebGLRenderer: Unsupported uniform value type.",y),T===!0&&(S.boundary=16,S.storage=Math.ceil(S.storage/16)*16),S}function m(y){let T=y.target;T.removeEventListener("dispose",m),i.deleteBuffer(s[T.id]),delete s[T.id],delete r[T.id]}function p(){for(let y in s)i.deleteBuffer(s[y]);s={},r={}}return{bind:o,update:a,dispose:p}}var wA=new Uint16Array([12469,15057,12620,14925,13266,14620,13807,14376,14323,13990,14545,13625,14713,13328,14840,12882,14931,12528,14996,12233,15039,11829,15066,11525,15080,11295,15085,10976,15082,10705,15073,10495,13880,14564,13898,14542,13977,14430,14158,14124,14393,13732,14556,13410,14702,12996,14814,12596,14891,12291,14937,11834,14957,11489,14958,11194,14943,10803,14921,10506,14893,10278,14858,9960,14484,14039,14487,14025,14499,13941,14524,13740,14574,13468,14654,13106,14743,12678,14818,12344,14867,11893,14889,11509,14893,11180,14881,10751,14852,10428,14812,10128,14765,9754,14712,9466,14764,13480,14764,13475,14766,13440,14766,13347,14769,13070,14786,12713,14816,12387,14844,11957,14860,11549,14868,11215,14855,10751,14825,10403,14782,10044,14729,9651,14666,9352,14599,9029,14967,12835,14966,12831,14963,12804,14954,12723,14936,12564,14917,12347,14900,11958,14886,11569,14878,11247,14859,10765,14828,10401,14784,10011,14727,9600,14660,9289,14586,8893,14508,8533,15111,12234,15110,12234,15104,12216,15092,12156,15067,12010,15028,11776,14981,11500,14942,11205,14902,10752,14861,10393,14812,9991,14752,9570,14682,9252,14603,8808,14519,8445,14431,8145,15209,11449,15208,11451,15202,11451,15190,11438,15163,11384,15117,11274,15055,10979,14994,10648,14932,10343,14871,9936,14803,9532,14729,9218,14645,8742,14556,8381,14461,8020,14365,7603,15273,10603,15272,10607,15267,10619,15256,10631,15231,10614,15182,10535,15118,10389,15042,10167,14963,9787,14883,9447,14800,9115,14710,8665,14615,8318,14514,7911,14411,7507,14279,7198,15314,9675,15313,9683,15309,9712,15298,9759,15277,9797,15229,9773,15166,9668,15084,9487,14995,9274,14898,8910,14800,8539,14697,8234,14590,7790,14479,7409,14367,7067,14178,6621,15337,8619,15337,8631,15333,8677,15325,8769,15305,8871,15264,8940,15202,8909,15119,8775,15022,8565,14916,8328,14804,8009,14688,7614,14569,7287,14448,6888,14321,6483,14088,6171,15350,7402,15350,7419,15347,7480,15340,7613,15322,7804,15287,7973,15229,8057,15148,8012,15046,7846,14933,7611,14810,7357,14682,7069,14552,6656,14421,6316,14251,5948,14007,5528,15356,5942,15356,5977,15353,6119,15348,6294,15332,6551,15302,6824,15249,7044,15171,7122,15070,7050,14949,6861,14818,6611,14679,6349,14538,6067,14398,5651,14189,5311,13935,4958,15359,4123,15359,4153,15356,4296,15353,4646,15338,5160,15311,5508,15263,5829,15188,6042,15088,6094,14966,6001,14826,5796,14678,5543,14527,5287,14377,4985,14133,4586,13869,4257,15360,1563,15360,1642,15358,2076,15354,2636,15341,3350,15317,4019,15273,4429,15203,4732,15105,4911,14981,4932,14836,4818,14679,4621,14517,4386,14359,4156,14083,3795,13808,3437,15360,122,15360,137,15358,285,15355,636,15344,1274,15322,2177,15281,2765,15215,3223,15120,3451,14995,3569,14846,3567,14681,3466,14511,3305,14344,3121,14037,2800,13753,2467,15360,0,15360,1,15359,21,15355,89,15346,253,15325,479,15287,796,15225,1148,15133,1492,15008,1749,14856,1882,14685,1886,14506,1783,14324,1608,13996,1398,13702,1183]),ji=null;function AA(){return ji===null&&(ji=new xc(wA,16,16,qs,Fi),ji.name="DFG_LUT",ji.minFilter=$n,ji.magFilter=$n,ji.wrapS=Yi,ji.wrapT=Yi,ji.generateMipmaps=!1,ji.needsUpdate=!0),ji}var Oh=class{constructor(e={}){let{canvas:t=Y0(),context:n=null,depth:s=!0,stencil:r=!1,alpha:o=!1,antialias:a=!1,premultipliedAlpha:c=!0,preserveDrawingBuffer:l=!1,powerPreference:u="default",failIfMajorPerformanceCaveat:h=!1,reversedDepthBuffer:f=!1,outputBufferType:d=jn}=e;this.isWebGLRenderer=!0;let g;if(n!==null){if(typeof WebGLRenderingContext<"u"&&n instanceof WebGLRenderingContext)throw new Error("THREE.WebGLRenderer: WebGL 1 is not supported since r163.");g=n.getContextAttributes().alpha}else g=o;let v=d,m=new Set([th,eh,Qc]),p=new Set([jn,Ni,bo,pr,Kc,jc]),y=new Uint32Array(4),T=new Int32Array(4),S={textures:[],min:[],max:[],resolution:[]},C=null,E=null,x=[],A=[],F=null;this.domElement=t,this.debug={checkShaderErrors:!0,diagnostics:{keywords:!1},onShaderError:null},this.autoClear=!0,this.autoClearColor=!0,this.autoClearDepth=!0,this.autoClearStencil=!0,this.sortObjects=!0,this.clippingPlanes=[],this.localClippingEnabled=!1,this.toneMapping=Ki,this.toneMappingExposure=1,this.transmissionResolutionScale=1;let L=this,I=!1,k=null,V=null,N=null,W=null;this._outputColorSpace=ci;let $=0,H=0,ce=null,K=-1,Q=null,se=new Et,fe=new Et,ue=null,ee=new je(0),me=0,xe=t.width,Te=t.height,be=1,We=null,st=null,Ve=new Et(0,0,xe,Te),ut=new Et(0,0,xe,Te),lt=!1,nt=new ks,Wt=new yc,Ot=!1,rn=!1,It=new Dt,vn=new U,yt=new Et,dn={background:null,fog:null,environment:null,overrideMaterial:null,isScene:!0},Yt=!1;function on(){return ce===null?be:1}let B=n;function Re(w,z){return t.getContext(w,z)}let $e,rt,Me,Nt,ze,qe,R,b,q,he,oe,_e,ye,te,ie,pe,O,re,ne,we,ge,Se,Ge;try{let w={alpha:!0,depth:s,stencil:r,antialias:a,premultipliedAlpha:c,preserveDrawingBuffer:l,powerPreference:u,failIfMajorPerformanceCaveat:h};if("setAttribute"in t&&t.setAttribute("data-engine",`three.js r${"187"}`),t.addEventListener("webglcontextlost",Oe,!1),t.addEventListener("webglcontextrestored",Ke,!1),t.addEventListener("webglcontextcreationerror",Ce,!1),B===null){let z="webgl2";if(B=Re(z,w),B===null)throw Re(z)?new Error("THREE.WebGLRenderer: Error creating WebGL context with your selected attributes."):new Error("THREE.WebGLRenderer: Error creating WebGL context.")}Je()}catch(w){throw t.removeEventListener("webglcontextlost",Oe,!1),t.removeEventListener("webglcontextrestored",Ke,!1),t.removeEventListener("webglcontextcreationerror",Ce,!1),et("WebGLRenderer: "+w.message),w}function Je(){$e=new Fw(B),$e.init(),ge=new xA(B,$e),rt=new Aw(B,$e,e,ge),Me=new gA(B,$e),rt.reversedDepthBuffer&&f&&Me.buffers.depth.setReversed(!0),V=B.createFramebuffer(),N=B.createFramebuffer(),W=B.createFramebuffer(),Nt=new kw(B),ze=new nA,qe=new _A(B,$e,Me,ze,rt,ge,Nt),R=new Uw(L),b=new VS(B),Se=new Mw(B,b),q=new Ow(B,b,Nt,Se),he=new Vw(B,q,b,Se,Nt),re=new zw(B,rt,qe),ie=new Ew(ze),oe=new tA(L,R,$e,rt,Se,ie),_e=new bA(L,ze),ye=new sA,te=new hA($e),O=new bw(L,R,Me,he,g,c),pe=new mA(L,he,rt),Ge=new MA(B,Nt,rt,Me),ne=new ww(B,$e,Nt),we=new Bw(B,$e,Nt),Nt.programs=oe.programs,L.capabilities=rt,L.extensions=$e,L.properties=ze,L.renderLists=ye,L.shadowMap=pe,L.state=Me,L.info=Nt}v!==jn&&(F=new Hw(v,t.width,t.height,a,s,r));let le=new Bd(L,B);this.xr=le,this.getContext=function(){return B},this.getContextAttributes=function(){return B.getContextAttributes()},this.forceContextLoss=function(){let w=$e.get("WEBGL_lose_context");w&&w.loseContext()},this.forceContextRestore=function(){let w=$e.get("WEBGL_lose_context");w&&w.restoreContext()},this.getPixelRatio=function(){return be},this.setPixelRatio=function(w){w!==void 0&&(be=w,this.setSize(xe,Te,!1))},this.getSize=function(w){return w.set(xe,Te)},this.setSize=function(w,z,j=!0){if(le.isPresenting){Ye("WebGLRenderer: Can't change size while VR device is presenting.");return}xe=w,Te=z,t.width=Math.floor(w*be),t.height=Math.floor(z*be),j===!0&&(t.style.width=w+"px",t.style.height=z+"px"),F!==null&&F.setSize(t.width,t.height),this.setViewport(0,0,w,z)},this.getDrawingBufferSize=function(w){return w.set(xe*be,Te*be).floor()},this.setDrawingBufferSize=function(w,z,j){xe=w,Te=z,be=j,t.width=Math.floor(w*j),t.height=Math.floor(z*j),this.setViewport(0,0,w,z)},this.setEffects=function(w){if(v===jn){et("WebGLRenderer: setEffects() requires outputBufferType set to HalfFloatType or FloatType.");return}if(w){for(let z=0;z<w.length;z++)if(w[z].isOutputPass===!0){Ye("WebGLRenderer: OutputPass is not needed in setEffects(). Tone mapping and color space conversion are applied automatically.");break}}F.setEffects(w||[])},this.getCurrentViewport=function(w){return w.copy(se)},this.getViewport=function(w){return w.copy(Ve)},this.setViewport=function(w,z,j,Y){w.isVector4?Ve.set(w.x,w.y,w.z,w.w):Ve.set(w,z,j,Y),Me.viewport(se.copy(Ve).multiplyScalar(on()).round())},this.getScissor=function(w){return w.copy(ut)},this.setScissor=function(w,z,j,Y){w.isVector4?ut.set(w.x,w.y,w.z,w.w):ut.set(w,z,j,Y),Me.scissor(fe.copy(ut).multiplyScalar(on()).round())},this.getScissorTest=function(){return lt},this.setScissorTest=function(w){Me.setScissorTest(lt=w)},this.setOpaqueSort=function(w){We=w},this.setTransparentSort=function(w){st=w},this.getClearColor=function(w){return w.copy(O.getClearColor())},this.setClearColor=function(){O.setClearColor(...arguments)},this.getClearAlpha=function(){return O.getClearAlpha()},this.setClearAlpha=function(){O.setClearAlpha(...arguments)},this.clear=function(w=!0,z=!0,j=!0){let Y=0;if(w){let Z=!1;if(ce!==null){let Ae=ce.texture.format;Z=m.has(Ae)}if(Z){let Ae=ce.texture.type,Ie=p.has(Ae),Ee=O.getClearColor(),Le=O.getClearAlpha(),ke=Ee.r,Qe=Ee.g,ft=Ee.b;Ie?(y[0]=ke,y[1]=Qe,y[2]=ft,y[3]=Le,B.clearBufferuiv(B.COLOR,0,y)):(T[0]=ke,T[1]=Qe,T[2]=ft,T[3]=Le,B.clearBufferiv(B.COLOR,0,T))}else Y|=B.COLOR_BUFFER_BIT}z&&(Y|=B.DEPTH_BUFFER_BIT,this.state.buffers.depth.setMask(!0)),j&&(Y|=B.STENCIL_BUFFER_BIT,this.state.buffers.stencil.setMask(4294967295)),Y!==0&&B.clear(Y)},this.clearColor=function(){this.clear(!0,!1,!1)},this.clearDepth=function(){this.clear(!1,!0,!1)},this.clearStencil=function(){this.clear(!1,!1,!0)},this.setNodesHandler=function(w){w.setRenderer(this),k=w},this.dispose=function(){t.removeEventListener("webglcontextlost",Oe,!1),t.removeEventListener("webglcontextrestored",Ke,!1),t.removeEventListener("webglcontextcreationerror",Ce,!1),O.dispose(),ye.dispose(),te.dispose(),qe.dispose(),ze.dispose(),R.dispose(),he.dispose(),q.dispose(),Se.dispose(),Ge.dispose(),oe.dispose(),le.dispose(),le.removeEventListener("sessionstart",Ja),le.removeEventListener("sessionend",Bi),ns.stop()};function Oe(w){w.preventDefault(),ca("WebGLRenderer: Context Lost."),I=!0}function Ke(){ca("WebGLRenderer: Context Restored."),I=!1;let w=Nt.autoReset,z=pe.enabled,j=pe.autoUpdate,Y=pe.needsUpdate,Z=pe.type;Je(),Nt.autoReset=w,pe.enabled=z,pe.autoUpdate=j,pe.needsUpdate=Y,pe.type=Z}function Ce(w){et("WebGLRenderer: A WebGL context could not be created. Reason: ",w.statusMessage)}function at(w){let z=w.target;z.removeEventListener("dispose",at),Bt(z)}function Bt(w){zn(w),ze.remove(w)}function zn(w){let z=ze.get(w).programs;z!==void 0&&(z.forEach(function(j){oe.releaseProgram(j)}),w.isShaderMaterial&&oe.releaseShaderCache(w))}this.renderBufferDirect=function(w,z,j,Y,Z,Ae){z===null&&(z=dn);let Ie=Z.isMesh&&Z.matrixWorld.determinantAffine()<0,Ee=Io(w,z,j,Y,Z);Me.setMaterial(Y,Ie);let Le=j.index,ke=1;if(Y.wireframe===!0){if(Le=q.getWireframeAttribute(j),Le===void 0)return;ke=2}let Qe=j.drawRange,ft=j.attributes.position,Be=Qe.start*ke,dt=(Qe.start+Qe.count)*ke;Ae!==null&&(Be=Math.max(Be,Ae.start*ke),dt=Math.min(dt,(Ae.start+Ae.count)*ke)),Le!==null?(Be=Math.max(Be,0),dt=Math.min(dt,Le.count)):ft!=null&&(Be=Math.max(Be,0),dt=Math.min(dt,ft.count));let qt=dt-Be;if(qt<0||qt===1/0)return;Se.setup(Z,Y,Ee,j,Le);let Tt,Ct=ne;if(Le!==null&&(Tt=b.get(Le),Ct=we,Ct.setIndex(Tt)),Z.isMesh)Y.wireframe===!0?(Me.setLineWidth(Y.wireframeLinewidth*on()),Ct.setMode(B.LINES)):Ct.setMode(B.TRIANGLES);else if(Z.isLine){let pn=Y.linewidth;pn===void 0&&(pn=1),Me.setLineWidth(pn*on()),Z.isLineSegments?Ct.setMode(B.LINES):Z.isLineLoop?Ct.setMode(B.LINE_LOOP):Ct.setMode(B.LINE_STRIP)}else Z.isPoints?Ct.setMode(B.POINTS):Z.isSprite&&Ct.setMode(B.TRIANGLES);if(Z.isBatchedMesh)if($e.get("WEBGL_multi_draw"))Ct.renderMultiDraw(Z._multiDrawStarts,Z._multiDrawCounts,Z._multiDrawCount);else{let pn=Z._multiDrawStarts,Ue=Z._multiDrawCounts,an=Z._multiDrawCount,gt=Le?b.get(Le).bytesPerElement:1,ss=ze.get(Y).currentProgram.getUniforms();for(let ln=0;ln<an;ln++)ss.setValue(B,"_gl_DrawID",ln),Ct.render(pn[ln]/gt,Ue[ln])}else if(Z.isInstancedMesh)Ct.renderInstances(Be,qt,Z.count);else if(j.isInstancedBufferGeometry){let pn=j._maxInstanceCount!==void 0?j._maxInstanceCount:1/0,Ue=Math.min(j.instanceCount,pn);Ct.renderInstances(Be,qt,Ue)}else Ct.render(Be,qt)};function Co(w,z,j,Y){k!==null&&w.isNodeMaterial&&k.setObject(Y,w),Ot===!0&&ie.setState(w,j,!1),w.transparent===!0&&w.side===Ji&&w.forceSinglePass===!1?(w.side=Cn,w.needsUpdate=!0,ki(w,z,Y),w.side=Xs,w.needsUpdate=!0,ki(w,z,Y),w.side=Ji):ki(w,z,Y)}this.compile=function(w,z,j=null){j===null&&(j=w),k!==null&&k.renderStart(w,z,j),E=te.get(j),E.init(z),A.push(E),j.traverseVisible(function(Z){Z.isLight&&Z.layers.test(z.layers)&&(E.pushLight(Z),Z.castShadow&&E.pushShadow(Z))}),w!==j&&w.traverseVisible(function(Z){Z.isLight&&Z.layers.test(z.layers)&&(E.pushLight(Z),Z.castShadow&&E.pushShadow(Z))}),E.setupLights(),k!==null&&k.updateLights(E.state.lightsArray),rn=this.localClippingEnabled,Ot=ie.init(this.clippingPlanes,rn),Ot===!0&&ie.setGlobalState(this.clippingPlanes,z),k!==null&&pe.render(E.state.shadowsArray,j,z);let Y=new Set;return w.traverse(function(Z){if(!(Z.isMesh||Z.isPoints||Z.isLine||Z.isSprite))return;let Ae=Z.material;if(Ae)if(Array.isArray(Ae))for(let Ie=0;Ie<Ae.length;Ie++){let Ee=Ae[Ie];Co(Ee,j,z,Z),Y.add(Ee)}else Co(Ae,j,z,Z),Y.add(Ae)}),E=A.pop(),k!==null&&k.renderEnd(),Y},this.compileAsync=function(w,z,j=null){let Y=this.compile(w,z,j);return new Promise(Z=>{function Ae(){if(Y.forEach(function(Ie){let Le=ze.get(Ie).currentProgram;(Le===void 0||Le.isReady())&&Y.delete(Ie)}),Y.size===0){Z(w);return}setTimeout(Ae,10)}$e.get("KHR_parallel_shader_compile")!==null?Ae():setTimeout(Ae,10)})};let xr=null;function ru(w){xr&&xr(w)}function Ja(){ns.stop()}function Bi(){ns.start()}let ns=new S_;ns.setAnimationLoop(ru),typeof self<"u"&&ns.setContext(self),this.setAnimationLoop=function(w){xr=w,le.setAnimationLoop(w),w===null?ns.stop():ns.start()},le.addEventListener("sessionstart",Ja),le.addEventListener("sessionend",Bi),this.render=function(w,z){if(z!==void 0&&z.isCamera!==!0){et("WebGLRenderer.render: camera is not an instance of THREE.Camera.");return}if(I===!0)return;k!==null&&k.renderStart(w,z);let j=le.enabled===!0&&le.isPresenting===!0,Y=F!==null&&(ce===null||j)&&F.begin(L,ce);if(w.matrixWorldAutoUpdate===!0&&w.updateMatrixWorld(),z.parent===null&&z.matrixWorldAutoUpdate===!0&&z.updateMatrixWorld(),le.enabled===!0&&le.isPresenting===!0&&(F===null||F.isCompositing()===!1)&&(le.cameraAutoUpdate===!0&&le.updateCamera(z),z=le.getCamera()),w.isScene===!0&&w.onBeforeRender(L,w,z,ce),E=te.get(w,A.length),E.init(z),E.state.textureUnits=qe.getTextureUnits(),A.push(E),It.multiplyMatrices(z.projectionMatrix,z.matrixWorldInverse),z.isArrayCamera?Wt.setFromArrayCamera(z):nt.setFromProjectionMatrix(It,yi,z.reversedDepth),rn=this.localClippingEnabled,Ot=ie.init(this.clippingPlanes,rn),C=ye.get(w,x.length),C.init(),x.push(C),this.info.render.frame++,le.enabled===!0&&le.isPresenting===!0){let Ie=L.xr.getDepthSensingMesh();Ie!==null&&is(Ie,z,-1/0,L.sortObjects)}is(w,z,0,L.sortObjects),C.finish(),k!==null&&k.updateLights(E.state.lightsArray),L.sortObjects===!0&&C.sort(We,st),Yt=le.enabled===!1||le.isPresenting===!1||le.hasDepthSensing()===!1,Yt&&O.addToRenderList(C,w),this.info.autoReset===!0&&this.info.reset(),Ot===!0&&ie.beginShadows();let Z=E.state.shadowsArray;if(pe.render(Z,w,z),Ot===!0&&ie.endShadows(),(Y&&F.hasRenderPass())===!1){let Ie=C.opaque,Ee=C.transmissive;if(E.setupLights(),z.isArrayCamera){let Le=z.cameras;if(Ee.length>0)for(let ke=0,Qe=Le.length;ke<Qe;ke++){let ft=Le[ke];Si(Ie,Ee,w,ft)}Yt&&O.render(w);for(let ke=0,Qe=Le.length;ke<Qe;ke++){let ft=Le[ke];Ro(C,w,ft,ft.viewport)}}else Ee.length>0&&Si(Ie,Ee,w,z),Yt&&O.render(w),Ro(C,w,z)}ce!==null&&H===0&&(qe.updateMultisampleRenderTarget(ce),qe.updateRenderTargetMipmap(ce)),Y&&F.end(L),w.isScene===!0&&w.onAfterRender(L,w,z),Se.resetDefaultState(),K=-1,Q=null,A.pop(),A.length>0?(E=A[A.length-1],qe.setTextureUnits(E.state.textureUnits),Ot===!0&&ie.setGlobalState(L.clippingPlanes,E.state.camera)):E=null,x.pop(),x.length>0?C=x[x.length-1]:C=null,k!==null&&k.renderEnd()};function is(w,z,j,Y){if(w.visible===!1)return;if(w.layers.test(z.layers)){if(w.isGroup)j=w.renderOrder;else if(w.isLOD)w.autoUpdate===!0&&w.update(z);else if(w.isLight)E.pushLight(w),w.castShadow&&E.pushShadow(w);else if(w.isSprite){let Ie=z.isArrayCamera?Wt:nt;if(!w.frustumCulled||w.intersectsFrustum(Ie)){Y&&yt.setFromMatrixPosition(w.matrixWorld).applyMatrix4(It);let Ee=he.update(w),Le=w.material;Le.visible&&C.push(w,Ee,Le,j,yt.z,null,z)}}else if(w.isMesh||w.isLine||w.isPoints){let Ie=z.isArrayCamera?Wt:nt;if(!w.frustumCulled||w.intersectsFrustum(Ie)){let Ee=he.update(w),Le=w.material;if(Y&&(w.boundingSphere!==void 0?(w.boundingSphere===null&&w.computeBoundingSphere(),yt.copy(w.boundingSphere.center)):(Ee.boundingSphere===null&&Ee.computeBoundingSphere(),yt.copy(Ee.boundingSphere.center)),yt.applyMatrix4(w.matrixWorld).applyMatrix4(It)),Array.isArray(Le)){let ke=Ee.groups;for(let Qe=0,ft=ke.length;Qe<ft;Qe++){let Be=ke[Qe],dt=Le[Be.materialIndex];dt&&dt.visible&&C.push(w,Ee,dt,j,yt.z,Be,z)}}else Le.visible&&C.push(w,Ee,Le,j,yt.z,null,z)}}}let Ae=w.children;for(let Ie=0,Ee=Ae.length;Ie<Ee;Ie++)is(Ae[Ie],z,j,Y)}function Ro(w,z,j,Y){let{opaque:Z,transmissive:Ae,transparent:Ie}=w;E.setupLightsView(j),Ot===!0&&ie.setGlobalState(L.clippingPlanes,j),Y&&Me.viewport(se.copy(Y)),Z.length>0&&$t(Z,z,j),Ae.length>0&&$t(Ae,z,j),Ie.length>0&&$t(Ie,z,j),Me.buffers.depth.setTest(!0),Me.buffers.depth.setMask(!0),Me.buffers.color.setMask(!0),Me.setPolygonOffset(!1)}function Si(w,z,j,Y){if((j.isScene===!0?j.overrideMaterial:null)!==null)return;if(E.state.transmissionRenderTarget[Y.id]===void 0){let Be=$e.has("EXT_color_buffer_half_float")||$e.has("EXT_color_buffer_float");E.state.transmissionRenderTarget[Y.id]=new fi(1,1,{generateMipmaps:!0,type:Be?Fi:jn,minFilter:bs,samples:Math.max(4,rt.samples),stencilBuffer:r,resolveDepthBuffer:!1,resolveStencilBuffer:!1,storeMultisampledDepthBuffer:!1,storeMultisampledStencilBuffer:!1,colorSpace:xt.workingColorSpace})}let Ae=E.state.transmissionRenderTarget[Y.id],Ie=Y.viewport||se;Ae.setSize(Ie.z*L.transmissionResolutionScale,Ie.w*L.transmissionResolutionScale);let Ee=L.getRenderTarget(),Le=L.getActiveCubeFace(),ke=L.getActiveMipmapLevel();L.setRenderTarget(Ae),L.getClearColor(ee),me=L.getClearAlpha(),me<1&&L.setClearColor(16777215,.5),L.clear(),Yt&&O.render(j);let Qe=L.toneMapping;L.toneMapping=Ki;let ft=Y.viewport;if(Y.viewport!==void 0&&(Y.viewport=void 0),E.setupLightsView(Y),Ot===!0&&ie.setGlobalState(L.clippingPlanes,Y),$t(w,j,Y),qe.updateMultisampleRenderTarget(Ae),qe.updateRenderTargetMipmap(Ae),$e.has("WEBGL_multisampled_render_to_texture")===!1){let Be=!1;for(let dt=0,qt=z.length;dt<qt;dt++){let Tt=z[dt],{object:Ct,geometry:pn,material:Ue,group:an}=Tt;if(Ue.side===Ji&&Ct.layers.test(Y.layers)){let gt=Ue.side;Ue.side=Cn,Ue.needsUpdate=!0,tn(Ct,j,Y,pn,Ue,an),Ue.side=gt,Ue.needsUpdate=!0,Be=!0}}Be===!0&&(qe.updateMultisampleRenderTarget(Ae),qe.updateRenderTargetMipmap(Ae))}L.setRenderTarget(Ee,Le,ke),L.setClearColor(ee,me),ft!==void 0&&(Y.viewport=ft),L.toneMapping=Qe}function $t(w,z,j){let Y=z.isScene===!0?z.overrideMaterial:null;for(let Z=0,Ae=w.length;Z<Ae;Z++){let Ie=w[Z],{object:Ee,geometry:Le,group:ke}=Ie,Qe=Ie.material;Qe.allowOverride===!0&&Y!==null&&(Qe=Y),Ee.layers.test(j.layers)&&tn(Ee,z,j,Le,Qe,ke)}}function tn(w,z,j,Y,Z,Ae){k!==null&&Z.isNodeMaterial&&k.setObject(w,Z),w.onBeforeRender(L,z,j,Y,Z,Ae),w.modelViewMatrix.multiplyMatrices(j.matrixWorldInverse,w.matrixWorld),w.normalMatrix.getNormalMatrix(w.modelViewMatrix),Z.onBeforeRender(L,z,j,Y,w,Ae),Z.transparent===!0&&Z.side===Ji&&Z.forceSinglePass===!1?(Z.side=Cn,Z.needsUpdate=!0,L.renderBufferDirect(j,z,Y,Z,w,Ae),Z.side=Xs,Z.needsUpdate=!0,L.renderBufferDirect(j,z,Y,Z,w,Ae),Z.side=Ji):L.renderBufferDirect(j,z,Y,Z,w,Ae),w.onAfterRender(L,z,j,Y,Z,Ae)}function nn(w){let z=0;for(let j of w)j.texture!==null&&z++;return z}function ki(w,z,j){z.isScene!==!0&&(z=dn);let Y=ze.get(w),Z=E.state.lights,Ae=E.state.shadowsArray,Ie=Z.state.version,Ee=oe.getParameters(w,Z.state,Ae,z,j,E.state.lightProbeGridArray),Le=oe.getProgramCacheKey(Ee),ke=Y.programs;Y.environment=w.isMeshStandardMaterial||w.isMeshLambertMaterial||w.isMeshPhongMaterial?z.environment:null,Y.fog=z.fog;let Qe=w.isMeshStandardMaterial||w.isMeshLambertMaterial&&!w.envMap||w.isMeshPhongMaterial&&!w.envMap;Y.envMap=R.get(w.envMap||Y.environment,Qe),Y.envMapRotation=Y.environment!==null&&w.envMap===null?z.environmentRotation:w.envMapRotation,ke===void 0&&(w.addEventListener("dispose",at),ke=new Map,Y.programs=ke,Y.programVariants=new Map);let ft=ke.get(Le);if(ft!==void 0){if(Y.currentProgram===ft&&Y.lightsStateVersion===Ie)return Po(w,Ee),ft}else Ee.uniforms=oe.getUniforms(w),k!==null&&w.isNodeMaterial&&k.build(w,j,Ee),w.onBeforeCompile(Ee,L),ft=oe.acquireProgram(Ee,Le),ke.set(Le,ft),Y.uniforms=Ee.uniforms;let Be=Y.uniforms;return(!w.isShaderMaterial&&!w.isRawShaderMaterial||w.clipping===!0)&&(Be.clippingPlanes=ie.uniform),Po(w,Ee),Y.needsLights=Es(w),Y.lightsStateVersion=Ie,Y.needsLights&&(Be.ambientLightColor.value=Z.state.ambient,Be.lightProbe.value=Z.state.probe,Be.sunLights.value=Z.state.sun,Be.sunLightShadows.value=Z.state.sunShadow,Be.directionalLights.value=Z.state.directional,Be.directionalLightShadows.value=Z.state.directionalShadow,Be.spotLights.value=Z.state.spot,Be.spotLightShadows.value=Z.state.spotShadow,Be.rectAreaLights.value=Z.state.rectArea,Be.ltc_1.value=Z.state.rectAreaLTC1,Be.ltc_2.value=Z.state.rectAreaLTC2,Be.pointLights.value=Z.state.point,Be.pointLightShadows.value=Z.state.pointShadow,Be.hemisphereLights.value=Z.state.hemi,Be.sunShadowMatrix.value=Z.state.sunShadowMatrix,Be.sunShadowCascade.value=Z.state.sunShadowCascade,Be.directionalShadowMatrix.value=Z.state.directionalShadowMatrix,Be.spotLightMatrix.value=Z.state.spotLightMatrix,Be.spotLightMap.value=Z.state.spotLightMap,Be.pointShadowMatrix.value=Z.state.pointShadowMatrix),Y.numLightProbeGrids=nn(E.state.lightProbeGridArray),Y.currentProgram=ft,Y.uniformsList=null,ft}function Qn(w,z,j,Y,Z){let Ae=ze.get(w),Ie=Ae.currentProgram.id+","+Y+","+Z,Ee=Ae.programVariants.get(Ie);return Ee===void 0?(Ee=ki(w,z,j),Ae.programVariants.set(Ie,Ee)):(Ae.currentProgram=Ee,Ae.uniformsList=null,Ae.outputColorSpace=Y,Ae.toneMapping=Z),Ee}function As(w){if(w.uniformsList===null){let z=w.currentProgram.getUniforms();w.uniformsList=Mo.seqWithValue(z.seq,w.uniforms)}return w.uniformsList}function Po(w,z){let j=ze.get(w);j.outputColorSpace=z.outputColorSpace,j.batching=z.batching,j.batchingColor=z.batchingColor,j.instancing=z.instancing,j.instancingColor=z.instancingColor,j.instancingMorph=z.instancingMorph,j.skinning=z.skinning,j.morphTargets=z.morphTargets,j.morphNormals=z.morphNormals,j.morphColors=z.morphColors,j.morphTargetsCount=z.morphTargetsCount,j.numClippingPlanes=z.numClippingPlanes,j.numIntersection=z.numClipIntersection,j.vertexAlphas=z.vertexAlphas,j.vertexTangents=z.vertexTangents,j.toneMapping=z.toneMapping}function Io(w,z,j,Y,Z){z.isScene!==!0&&(z=dn),qe.resetTextureUnits();let Ae=z.fog,Ie=Y.isMeshStandardMaterial||Y.isMeshLambertMaterial||Y.isMeshPhongMaterial?z.environment:null,Ee=ce===null?L.outputColorSpace:ce.isXRRenderTarget===!0?ce.texture.colorSpace:xt.workingColorSpace,Le=Y.isMeshStandardMaterial||Y.isMeshLambertMaterial&&!Y.envMap||Y.isMeshPhongMaterial&&!Y.envMap,ke=R.get(Y.envMap||Ie,Le),Qe=Y.vertexColors===!0&&!!j.attributes.color&&j.attributes.color.itemSize===4,ft=!!j.attributes.tangent&&(!!Y.normalMap||Y.anisotropy>0),Be=!!j.morphAttributes.position,dt=!!j.morphAttributes.normal,qt=!!j.morphAttributes.color,Tt=Ki;Y.toneMapped&&(ce===null||ce.isXRRenderTarget===!0)&&(Tt=L.toneMapping);let Ct=j.morphAttributes.position||j.morphAttributes.normal||j.morphAttributes.color,pn=Ct!==void 0?Ct.length:0,Ue=ze.get(Y),an=E.state.lights;if(Ot===!0&&(rn===!0||w!==Q)){let Rt=w===Q&&Y.id===K;ie.setState(Y,w,Rt)}let gt=!1,ss=!1;Y.version===Ue.__version?Ue.needsLights&&Ue.lightsStateVersion!==an.state.version||Z.isBatchedMesh&&Ue.batching===!1||!Z.isBatchedMesh&&Ue.batching===!0||Z.isBatchedMesh&&Ue.batchingColor===!0&&Z._colorsTexture===null||Z.isBatchedMesh&&Ue.batchingColor===!1&&Z._colorsTexture!==null||Z.isInstancedMesh&&Ue.instancing===!1||!Z.isInstancedMesh&&Ue.instancing===!0||Z.isSkinnedMesh&&Ue.skinning===!1||!Z.isSkinnedMesh&&Ue.skinning===!0||Z.isInstancedMesh&&Ue.instancingColor===!0&&Z.instanceColor===null||Z.isInstancedMesh&&Ue.instancingColor===!1&&Z.instanceColor!==null||Z.isInstancedMesh&&Ue.instancingMorph===!0&&Z.morphTexture===null||Z.isInstancedMesh&&Ue.instancingMorph===!1&&Z.morphTexture!==null||Ue.envMap!==ke||Y.fog===!0&&Ue.fog!==Ae||Ue.numClippingPlanes!==void 0&&(Ue.numClippingPlanes!==ie.numPlanes||Ue.numIntersection!==ie.numIntersection)||Ue.vertexAlphas!==Qe||Ue.vertexTangents!==ft||Ue.morphTargets!==Be||Ue.morphNormals!==dt||Ue.morphColors!==qt||Ue.morphTargetsCount!==pn||Ue.numLightProbeGrids!==nn(E.state.lightProbeGridArray)?gt=!0:(Ue.outputColorSpace!==Ee||Ue.toneMapping!==Tt)&&(ss=!0):(gt=!0,Ue.__version=Y.version);let ln=Ue.currentProgram;(gt===!0||ss===!0)&&(ln=ss===!0?Qn(Y,z,Z,Ee,Tt):ki(Y,z,Z),k&&Y.isNodeMaterial&&k.onUpdateProgram(Y,ln,Ue));let Sr=!1,zi=!1,rs=!1,ct=ln.getUniforms(),Zt=Ue.uniforms;if(Me.useProgram(ln.program)&&(Sr=!0,zi=!0,rs=!0),Y.id!==K&&(K=Y.id,zi=!0),Sr||Q!==w){Me.buffers.depth.getReversed()&&w.reversedDepth!==!0&&(w._reversedDepth=!0,w.updateProjectionMatrix()),ct.setValue(B,"projectionMatrix",w.projectionMatrix),ct.setValue(B,"viewMatrix",w.matrixWorldInverse);let cn=ct.map.cameraPosition;cn!==void 0&&cn.setValue(B,vn.setFromMatrixPosition(w.matrixWorld)),rt.logarithmicDepthBuffer&&ct.setValue(B,"logDepthBufFC",2/(Math.log(w.far+1)/Math.LN2)),(Y.isMeshPhongMaterial||Y.isMeshToonMaterial||Y.isMeshLambertMaterial||Y.isMeshBasicMaterial||Y.isMeshStandardMaterial||Y.isShaderMaterial)&&ct.setValue(B,"isOrthographic",w.isOrthographicCamera===!0),Q!==w&&(Q=w,zi=!0,rs=!0)}if(Ue.needsLights&&(an.state.sunShadowMap.length>0&&ct.setValue(B,"sunShadowMap",an.state.sunShadowMap,qe),an.state.directionalShadowMap.length>0&&ct.setValue(B,"directionalShadowMap",an.state.directionalShadowMap,qe),an.state.spotShadowMap.length>0&&ct.setValue(B,"spotShadowMap",an.state.spotShadowMap,qe),an.state.pointShadowMap.length>0&&ct.setValue(B,"pointShadowMap",an.state.pointShadowMap,qe)),Z.isSkinnedMesh){ct.setOptional(B,Z,"bindMatrix"),ct.setOptional(B,Z,"bindMatrixInverse");let Rt=Z.skeleton;Rt&&(Rt.boneTexture===null&&Rt.computeBoneTexture(),ct.setValue(B,"boneTexture",Rt.boneTexture,qe))}Z.isBatchedMesh&&(ct.setOptional(B,Z,"batchingTexture"),ct.setValue(B,"batchingTexture",Z._matricesTexture,qe),ct.setOptional(B,Z,"batchingIdTexture"),ct.setValue(B,"batchingIdTexture",Z._indirectTexture,qe),ct.setOptional(B,Z,"batchingColorTexture"),Z._colorsTexture!==null&&ct.setValue(B,"batchingColorTexture",Z._colorsTexture,qe));let Vn=j.morphAttributes;if((Vn.position!==void 0||Vn.normal!==void 0||Vn.color!==void 0)&&re.update(Z,j,ln),(zi||Ue.receiveShadow!==Z.receiveShadow)&&(Ue.receiveShadow=Z.receiveShadow,ct.setValue(B,"receiveShadow",Z.receiveShadow)),(Y.isMeshStandardMaterial||Y.isMeshLambertMaterial||Y.isMeshPhongMaterial)&&Y.envMap===null&&z.environment!==null&&(Zt.envMapIntensity.value=z.environmentIntensity),Zt.dfgLUT!==void 0&&(Zt.dfgLUT.value=AA()),zi){if(ct.setValue(B,"toneMappingExposure",L.toneMappingExposure),Ue.needsLights&&yr(Zt,rs),Ae&&Y.fog===!0&&_e.refreshFogUniforms(Zt,Ae),_e.refreshMaterialUniforms(Zt,Y,be,Te,E.state.transmissionRenderTarget[w.id]),Ue.needsLights&&Ue.numLightProbeGrids>0){let Rt=S,cn=0;for(let Fn of E.state.lightProbeGridArray)Fn.texture!==null&&(Rt.textures[cn]=Fn.texture,Rt.min[cn]=Fn.boundingBox.min,Rt.max[cn]=Fn.boundingBox.max,Rt.resolution[cn]=Fn.resolution,cn++);for(let Fn in Rt)Rt[Fn].length=cn;Zt.probesSH.value=Rt.textures,Zt.probesMin.value=Rt.min,Zt.probesMax.value=Rt.max,Zt.probesResolution.value=Rt.resolution}Mo.upload(B,As(Ue),Zt,qe)}if(Y.isShaderMaterial&&Y.uniformsNeedUpdate===!0&&(Mo.upload(B,As(Ue),Zt,qe),Y.uniformsNeedUpdate=!1),Y.isSpriteMaterial&&ct.setValue(B,"center",Z.center),ct.setValue(B,"modelViewMatrix",Z.modelViewMatrix),ct.setValue(B,"normalMatrix",Z.normalMatrix),ct.setValue(B,"modelMatrix",Z.matrixWorld),Y.uniformsGroups!==void 0){let Rt=Y.uniformsGroups;for(let cn=0,Fn=Rt.length;cn<Fn;cn++){let Ka=Rt[cn];Ge.update(Ka,ln),Ge.bind(Ka,ln)}}return ln}function yr(w,z){w.ambientLightColor.needsUpdate=z,w.lightProbe.needsUpdate=z,w.sunLights.needsUpdate=z,w.sunLightShadows.needsUpdate=z,w.directionalLights.needsUpdate=z,w.directionalLightShadows.needsUpdate=z,w.pointLights.needsUpdate=z,w.pointLightShadows.needsUpdate=z,w.spotLights.needsUpdate=z,w.spotLightShadows.needsUpdate=z,w.rectAreaLights.needsUpdate=z,w.hemisphereLights.needsUpdate=z}function Es(w){return w.isMeshLambertMaterial||w.isMeshToonMaterial||w.isMeshPhongMaterial||w.isMeshStandardMaterial||w.isShadowMaterial||w.isShaderMaterial&&w.lights===!0}this.getActiveCubeFace=function(){return $},this.getActiveMipmapLevel=function(){return H},this.getRenderTarget=function(){return ce},this.setRenderTargetTextures=function(w,z,j){let Y=ze.get(w);Y.__autoAllocateDepthBuffer=w.resolveDepthBuffer===!1,Y.__autoAllocateDepthBuffer===!1&&(Y.__useRenderToTexture=!1),ze.get(w.texture).__webglTexture=z,ze.get(w.depthTexture).__webglTexture=Y.__autoAllocateDepthBuffer?void 0:j,Y.__hasExternalTextures=!0},this.setRenderTargetFramebuffer=function(w,z){let j=ze.get(w);j.__webglFramebuffer=z,j.__useDefaultFramebuffer=z===void 0},this.setRenderTarget=function(w,z=0,j=0){ce=w,$=z,H=j;let Y=null,Z=!1,Ae=!1;if(w){let Ee=ze.get(w);if(Ee.__useDefaultFramebuffer!==void 0){Me.bindFramebuffer(B.FRAMEBUFFER,Ee.__webglFramebuffer),se.copy(w.viewport),fe.copy(w.scissor),ue=w.scissorTest,Me.viewport(se),Me.scissor(fe),Me.setScissorTest(ue),K=-1;return}else if(Ee.__webglFramebuffer===void 0)qe.setupRenderTarget(w);else if(Ee.__hasExternalTextures)qe.rebindTextures(w,ze.get(w.texture).__webglTexture,ze.get(w.depthTexture).__webglTexture);else if(w.depthBuffer){let Qe=w.depthTexture;if(Ee.__boundDepthTexture!==Qe){if(Qe!==null&&ze.has(Qe)&&(w.width!==Qe.image.width||w.height!==Qe.image.height))throw new Error("THREE.WebGLRenderer: Attached DepthTexture is initialized to the incorrect size.");qe.setupDepthRenderbuffer(w)}}let Le=w.texture;(Le.isData3DTexture||Le.isDataArrayTexture||Le.isCompressedArrayTexture)&&(Ae=!0);let ke=ze.get(w).__webglFramebuffer;w.isWebGLCubeRenderTarget?(Array.isArray(ke[z])?Y=ke[z][j]:Y=ke[z],Z=!0):w.samples>0&&qe.useMultisampledRTT(w)===!1?Y=ze.get(w).__webglMultisampledFramebuffer:Array.isArray(ke)?Y=ke[j]:Y=ke,se.copy(w.viewport),fe.copy(w.scissor),ue=w.scissorTest}else se.copy(Ve).multiplyScalar(be).floor(),fe.copy(ut).multiplyScalar(be).floor(),ue=lt;if(j!==0&&(Y=V),Me.bindFramebuffer(B.FRAMEBUFFER,Y)&&Me.drawBuffers(w,Y),Me.viewport(se),Me.scissor(fe),Me.setScissorTest(ue),Z){let Ee=ze.get(w.texture);B.framebufferTexture2D(B.FRAMEBUFFER,B.COLOR_ATTACHMENT0,B.TEXTURE_CUBE_MAP_POSITIVE_X+z,Ee.__webglTexture,j)}else if(Ae){let Ee=z;for(let Le=0;Le<w.textures.length;Le++){let ke=ze.get(w.textures[Le]);B.framebufferTextureLayer(B.FRAMEBUFFER,B.COLOR_ATTACHMENT0+Le,ke.__webglTexture,j,Ee)}}else if(w!==null&&j!==0){let Ee=ze.get(w.texture);B.framebufferTexture2D(B.FRAMEBUFFER,B.COLOR_ATTACHMENT0,B.TEXTURE_2D,Ee.__webglTexture,j)}K=-1};function vr(w){let z=ze.get(w);return(z.__readFormat!==w.format||z.__readType!==w.type)&&(z.__readFormat=w.format,z.__readType=w.type,z.__formatReadable=rt.textureFormatReadable(w.format),z.__typeReadable=rt.textureTypeReadable(w.type)),z}this.readRenderTargetPixels=function(w,z,j,Y,Z,Ae,Ie,Ee=0){if(!(w&&w.isWebGLRenderTarget)){et("WebGLRenderer.readRenderTargetPixels: renderTarget is not THREE.WebGLRenderTarget.");return}let Le=ze.get(w).__webglFramebuffer;if(w.isWebGLCubeRenderTarget&&Ie!==void 0&&(Le=Le[Ie],Array.isArray(Le)&&(Le=Le[0])),Le){Me.bindFramebuffer(B.FRAMEBUFFER,Le);try{let ke=w.textures[Ee],Qe=ke.format,ft=ke.type;w.textures.length>1&&B.readBuffer(B.COLOR_ATTACHMENT0+Ee);let Be=vr(ke);if(Be.__formatReadable===!1){et("WebGLRenderer.readRenderTargetPixels: renderTarget is not in RGBA or implementation defined format.");return}if(Be.__typeReadable===!1){et("WebGLRenderer.readRenderTargetPixels: renderTarget is not in UnsignedByteType or implementation defined type.");return}z>=0&&z<=w.width-Y&&j>=0&&j<=w.height-Z&&B.readPixels(z,j,Y,Z,ge.convert(Qe),ge.convert(ft),Ae)}finally{let ke=ce!==null?ze.get(ce).__webglFramebuffer:null;Me.bindFramebuffer(B.FRAMEBUFFER,ke)}}},this.readRenderTargetPixelsAsync=async function(w,z,j,Y,Z,Ae,Ie,Ee=0){if(!(w&&w.isWebGLRenderTarget))throw new Error("THREE.WebGLRenderer.readRenderTargetPixels: renderTarget is not THREE.WebGLRenderTarget.");let Le=ze.get(w).__webglFramebuffer;if(w.isWebGLCubeRenderTarget&&Ie!==void 0&&(Le=Le[Ie],Array.isArray(Le)&&(Le=Le[0])),Le)if(z>=0&&z<=w.width-Y&&j>=0&&j<=w.height-Z){Me.bindFramebuffer(B.FRAMEBUFFER,Le);let ke=w.textures[Ee],Qe=ke.format,ft=ke.type;w.textures.length>1&&B.readBuffer(B.COLOR_ATTACHMENT0+Ee);let Be=vr(ke);if(Be.__formatReadable===!1)throw new Error("THREE.WebGLRenderer.readRenderTargetPixelsAsync: renderTarget is not in RGBA or implementation defined format.");if(Be.__typeReadable===!1)throw new Error("THREE.WebGLRenderer.readRenderTargetPixelsAsync: renderTarget is not in UnsignedByteType or implementation defined type.");let dt=B.createBuffer();B.bindBuffer(B.PIXEL_PACK_BUFFER,dt),B.bufferData(B.PIXEL_PACK_BUFFER,Ae.byteLength,B.STREAM_READ),B.readPixels(z,j,Y,Z,ge.convert(Qe),ge.convert(ft),0),B.bindBuffer(B.PIXEL_PACK_BUFFER,null);let qt=ce!==null?ze.get(ce).__webglFramebuffer:null;Me.bindFramebuffer(B.FRAMEBUFFER,qt);let Tt=B.fenceSync(B.SYNC_GPU_COMMANDS_COMPLETE,0);return B.flush(),await Z0(B,Tt,4),B.bindBuffer(B.PIXEL_PACK_BUFFER,dt),B.getBufferSubData(B.PIXEL_PACK_BUFFER,0,Ae),B.bindBuffer(B.PIXEL_PACK_BUFFER,null),B.deleteBuffer(dt),B.deleteSync(Tt),Ae}else throw new Error("THREE.WebGLRenderer.readRenderTargetPixelsAsync: requested read bounds are out of range.")},this.copyFramebufferToTexture=function(w,z=null,j=0){let Y=Math.pow(2,-j),Z=Math.floor(w.image.width*Y),Ae=Math.floor(w.image.height*Y),Ie=z!==null?z.x:0,Ee=z!==null?z.y:0;qe.setTexture2D(w,0),B.copyTexSubImage2D(B.TEXTURE_2D,j,0,0,Ie,Ee,Z,Ae),Me.unbindTexture()},this.copyTextureToTexture=function(w,z,j=null,Y=null,Z=0,Ae=0){let Ie,Ee,Le,ke,Qe,ft,Be,dt,qt,Tt=w.isCompressedTexture?w.mipmaps[Ae]:w.image;if(j!==null)Ie=j.max.x-j.min.x,Ee=j.max.y-j.min.y,Le=j.isBox3?j.max.z-j.min.z:1,ke=j.min.x,Qe=j.min.y,ft=j.isBox3?j.min.z:0;else{let ct=Math.pow(2,-Z);Ie=Math.floor(Tt.width*ct),Ee=Math.floor(Tt.height*ct),w.isDataArrayTexture?Le=Tt.depth:w.isData3DTexture?Le=Math.floor(Tt.depth*ct):Le=1,ke=0,Qe=0,ft=0}Y!==null?(Be=Y.x,dt=Y.y,qt=Y.z):(Be=0,dt=0,qt=0);let Ct=ge.convert(z.format),pn=ge.convert(z.type),Ue;z.isData3DTexture?(qe.setTexture3D(z,0),Ue=B.TEXTURE_3D):z.isDataArrayTexture||z.isCompressedArrayTexture?(qe.setTexture2DArray(z,0),Ue=B.TEXTURE_2D_ARRAY):(qe.setTexture2D(z,0),Ue=B.TEXTURE_2D),Me.activeTexture(B.TEXTURE0),Me.pixelStorei(B.UNPACK_FLIP_Y_WEBGL,z.flipY),Me.pixelStorei(B.UNPACK_PREMULTIPLY_ALPHA_WEBGL,z.premultiplyAlpha),Me.pixelStorei(B.UNPACK_ALIGNMENT,z.unpackAlignment);let an=Me.getParameter(B.UNPACK_ROW_LENGTH),gt=Me.getParameter(B.UNPACK_IMAGE_HEIGHT),ss=Me.getParameter(B.UNPACK_SKIP_PIXELS),ln=Me.getParameter(B.UNPACK_SKIP_ROWS),Sr=Me.getParameter(B.UNPACK_SKIP_IMAGES);Me.pixelStorei(B.UNPACK_ROW_LENGTH,Tt.width),Me.pixelStorei(B.UNPACK_IMAGE_HEIGHT,Tt.height),Me.pixelStorei(B.UNPACK_SKIP_PIXELS,ke),Me.pixelStorei(B.UNPACK_SKIP_ROWS,Qe),Me.pixelStorei(B.UNPACK_SKIP_IMAGES,ft);let zi=w.isDataArrayTexture||w.isData3DTexture,rs=z.isDataArrayTexture||z.isData3DTexture;if(w.isDepthTexture){let ct=ze.get(w),Zt=ze.get(z),Vn=ze.get(ct.__renderTarget),Rt=ze.get(Zt.__renderTarget);Me.bindFramebuffer(B.READ_FRAMEBUFFER,Vn.__webglFramebuffer),Me.bindFramebuffer(B.DRAW_FRAMEBUFFER,Rt.__webglFramebuffer);for(let cn=0;cn<Le;cn++)zi&&(B.framebufferTextureLayer(B.READ_FRAMEBUFFER,B.COLOR_ATTACHMENT0,ze.get(w).__webglTexture,Z,ft+cn),B.framebufferTextureLayer(B.DRAW_FRAMEBUFFER,B.COLOR_ATTACHMENT0,ze.get(z).__webglTexture,Ae,qt+cn)),B.blitFramebuffer(ke,Qe,ke+Ie,Qe+Ee,Be,dt,Be+Ie,dt+Ee,B.DEPTH_BUFFER_BIT,B.NEAREST);Me.bindFramebuffer(B.READ_FRAMEBUFFER,null),Me.bindFramebuffer(B.DRAW_FRAMEBUFFER,null)}else if(Z!==0||w.isRenderTargetTexture||ze.has(w)){let ct=ze.get(w),Zt=ze.get(z);Me.bindFramebuffer(B.READ_FRAMEBUFFER,N),Me.bindFramebuffer(B.DRAW_FRAMEBUFFER,W);for(let Vn=0;Vn<Le;Vn++)zi?B.framebufferTextureLayer(B.READ_FRAMEBUFFER,B.COLOR_ATTACHMENT0,ct.__webglTexture,Z,ft+Vn):B.framebufferTexture2D(B.READ_FRAMEBUFFER,B.COLOR_ATTACHMENT0,B.TEXTURE_2D,ct.__webglTexture,Z),rs?B.framebufferTextureLayer(B.DRAW_FRAMEBUFFER,B.COLOR_ATTACHMENT0,Zt.__webglTexture,Ae,qt+Vn):B.framebufferTexture2D(B.DRAW_FRAMEBUFFER,B.COLOR_ATTACHMENT0,B.TEXTURE_2D,Zt.__webglTexture,Ae),Z!==0?B.blitFramebuffer(ke,Qe,ke+Ie,Qe+Ee,Be,dt,Be+Ie,dt+Ee,B.COLOR_BUFFER_BIT,B.NEAREST):rs?B.copyTexSubImage3D(Ue,Ae,Be,dt,qt+Vn,ke,Qe,Ie,Ee):B.copyTexSubImage2D(Ue,Ae,Be,dt,ke,Qe,Ie,Ee);Me.bindFramebuffer(B.READ_FRAMEBUFFER,null),Me.bindFramebuffer(B.DRAW_FRAMEBUFFER,null)}else rs?w.isDataTexture||w.isData3DTexture?B.texSubImage3D(Ue,Ae,Be,dt,qt,Ie,Ee,Le,Ct,pn,Tt.data):z.isCompressedArrayTexture?B.compressedTexSubImage3D(Ue,Ae,Be,dt,qt,Ie,Ee,Le,Ct,Tt.data):B.texSubImage3D(Ue,Ae,Be,dt,qt,Ie,Ee,Le,Ct,pn,Tt):w.isDataTexture?B.texSubImage2D(B.TEXTURE_2D,Ae,Be,dt,Ie,Ee,Ct,pn,Tt.data):w.isCompressedTexture?B.compressedTexSubImage2D(B.TEXTURE_2D,Ae,Be,dt,Tt.width,Tt.height,Ct,Tt.data):B.texSubImage2D(B.TEXTURE_2D,Ae,Be,dt,Ie,Ee,Ct,pn,Tt);Me.pixelStorei(B.UNPACK_ROW_LENGTH,an),Me.pixelStorei(B.UNPACK_IMAGE_HEIGHT,gt),Me.pixelStorei(B.UNPACK_SKIP_PIXELS,ss),Me.pixelStorei(B.UNPACK_SKIP_ROWS,ln),Me.pixelStorei(B.UNPACK_SKIP_IMAGES,Sr),Ae===0&&z.generateMipmaps===!0&&z.mipmapsAutoUpdate===!0&&B.generateMipmap(Ue),Me.unbindTexture()},this.initRenderTarget=function(w){ze.get(w).__webglFramebuffer===void 0&&qe.setupRenderTarget(w)},this.initTexture=function(w){w.isCubeTexture?qe.setTextureCube(w,0):w.isData3DTexture?qe.setTexture3D(w,0):w.isDataArrayTexture||w.isCompressedArrayTexture?qe.setTexture2DArray(w,0):qe.setTexture2D(w,0),Me.unbindTexture()},this.resetState=function(){$=0,H=0,ce=null,Me.reset(),Se.reset()},typeof __THREE_DEVTOOLS__<"u"&&__THREE_DEVTOOLS__.dispatchEvent(new CustomEvent("observe",{detail:this}))}get coordinateSystem(){return yi}get outputColorSpace(){return this._outputColorSpace}set outputColorSpace(e){this._outputColorSpace=e;let t=this.getContext();t.drawingBufferColorSpace=xt._getDrawingBufferColorSpace(e),t.unpackColorSpace=xt._getUnpackColorSpace()}};Pe.line={worldUnits:{value:1},linewidth:{value:1},resolution:{value:new He},dashOffset:{value:0},dashScale:{value:1},dashSize:{value:1},gapSize:{value:1}};Jn.line={uniforms:Wa.merge([Pe.common,Pe.fog,Pe.line]),vertexShader:`
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
		`};var Ao=class extends Zn{constructor(e){super({type:"LineMaterial",uniforms:Wa.clone(Jn.line.uniforms),vertexShader:Jn.line.vertexShader,fragmentShader:Jn.line.fragmentShader,clipping:!0}),this.isLineMaterial=!0,this.setValues(e)}get color(){return this.uniforms.diffuse.value}set color(e){this.uniforms.diffuse.value=e}get worldUnits(){return"WORLD_UNITS"in this.defines}set worldUnits(e){e===!0!==this.worldUnits&&(this.needsUpdate=!0),e===!0?this.defines.WORLD_UNITS="":delete this.defines.WORLD_UNITS}get linewidth(){return this.uniforms.linewidth.value}set linewidth(e){this.uniforms.linewidth&&(this.uniforms.linewidth.value=e)}get dashed(){return"USE_DASH"in this.defines}set dashed(e){e===!0!==this.dashed&&(this.needsUpdate=!0),e===!0?this.defines.USE_DASH="":delete this.defines.USE_DASH}get dashScale(){return this.uniforms.dashScale.value}set dashScale(e){this.uniforms.dashScale.value=e}get dashSize(){return this.uniforms.dashSize.value}set dashSize(e){this.uniforms.dashSize.value=e}get dashOffset(){return this.uniforms.dashOffset.value}set dashOffset(e){this.uniforms.dashOffset.value=e}get gapSize(){return this.uniforms.gapSize.value}set gapSize(e){this.uniforms.gapSize.value=e}get opacity(){return this.uniforms.opacity.value}set opacity(e){this.uniforms&&(this.uniforms.opacity.value=e)}get resolution(){return this.uniforms.resolution.value}set resolution(e){this.uniforms.resolution.value.copy(e)}get alphaToCoverage(){return"USE_ALPHA_TO_COVERAGE"in this.defines}set alphaToCoverage(e){this.defines&&(e===!0!==this.alphaToCoverage&&(this.needsUpdate=!0),e===!0?this.defines.USE_ALPHA_TO_COVERAGE="":delete this.defines.USE_ALPHA_TO_COVERAGE)}};var L_=new Ln,zh=new U,Eo=class extends Da{constructor(){super(),this.isLineSegmentsGeometry=!0,this.type="LineSegmentsGeometry";let e=[-1,2,0,1,2,0,-1,1,0,1,1,0,-1,0,0,1,0,0,-1,-1,0,1,-1,0],t=[-1,2,1,2,-1,1,1,1,-1,-1,1,-1,-1,-2,1,-2],n=[0,2,1,2,3,1,2,4,3,4,5,3,4,6,5,6,7,5];this.setIndex(n),this.setAttribute("position",new mt(e,3)),this.setAttribute("uv",new mt(t,2))}applyMatrix4(e){let t=this.attributes.instanceStart,n=this.attributes.instanceEnd;return t!==void 0&&(t.applyMatrix4(e),n.applyMatrix4(e),t.needsUpdate=!0),this.boundingBox!==null&&this.computeBoundingBox(),this.boundingSphere!==null&&this.computeBoundingSphere(),this}setPositions(e){let t;e instanceof Float32Array?t=e:Array.isArray(e)&&(t=new Float32Array(e));let n=new Ws(t,6,1);return this.setAttribute("instanceStart",new Li(n,3,0)),this.setAttribute("instanceEnd",new Li(n,3,3)),this.instanceCount=this.attributes.instanceStart.count,this.computeBoundingBox(),this.computeBoundingSphere(),this}setColors(e){let t;e instanceof Float32Array?t=e:Array.isArray(e)&&(t=new Float32Array(e));let n=new Ws(t,6,1);return this.setAttribute("instanceColorStart",new Li(n,3,0)),this.setAttribute("instanceColorEnd",new Li(n,3,3)),this}fromWireframeGeometry(e){return this.setPositions(e.attributes.position.array),this}fromEdgesGeometry(e){return this.setPositions(e.attributes.position.array),this}fromMesh(e){return this.fromWireframeGeometry(new Ea(e.geometry)),this}fromLineSegments(e){let t=e.geometry;return this.setPositions(t.attributes.position.array),this}computeBoundingBox(){this.boundingBox===null&&(this.boundingBox=new Ln);let e=this.attributes.instanceStart,t=this.attributes.instanceEnd;e!==void 0&&t!==void 0&&(this.boundingBox.setFromBufferAttribute(e),L_.setFromBufferAttribute(t),this.boundingBox.union(L_))}computeBoundingSphere(){this.boundingSphere===null&&(this.boundingSphere=new Ii),this.boundingBox===null&&this.computeBoundingBox();let e=this.attributes.instanceStart,t=this.attributes.instanceEnd;if(e!==void 0&&t!==void 0){let n=this.boundingSphere.center;this.boundingBox.getCenter(n);let s=0;for(let r=0,o=e.count;r<o;r++)zh.fromBufferAttribute(e,r),s=Math.max(s,n.distanceToSquared(zh)),zh.fromBufferAttribute(t,r),s=Math.max(s,n.distanceToSquared(zh));this.boundingSphere.radius=Math.sqrt(s),isNaN(this.boundingSphere.radius)&&console.error("THREE.LineSegmentsGeometry.computeBoundingSphere(): Computed radius is NaN. The instanced position data is likely to have NaN values.",this)}}toJSON(){}};var kd=new Et,D_=new U,N_=new U,Dn=new Et,Nn=new Et,Qi=new Et,zd=new U,Vd=new Dt,Un=new Na,U_=new U,Vh=new Ln,Gh=new Ii,es=new Et,ts,gr;function F_(i,e,t){return es.set(0,0,-e,1).applyMatrix4(i.projectionMatrix),es.multiplyScalar(1/es.w),es.x=gr/t.width,es.y=gr/t.height,es.applyMatrix4(i.projectionMatrixInverse),es.multiplyScalar(1/es.w),Math.abs(Math.max(es.x,es.y))}function EA(i,e){let t=i.matrixWorld,n=i.geometry,s=n.attributes.instanceStart,r=n.attributes.instanceEnd,o=Math.min(n.instanceCount,s.count);for(let a=0,c=o;a<c;a++){Un.start.fromBufferAttribute(s,a),Un.end.fromBufferAttribute(r,a),Un.applyMatrix4(t);let l=new U,u=new U;ts.distanceSqToSegment(Un.start,Un.end,u,l),u.distanceTo(l)<gr*.5&&e.push({point:u,pointOnLine:l,distance:ts.origin.distanceTo(u),object:i,face:null,faceIndex:a,uv:null,uv1:null})}}function TA(i,e,t){let n=e.projectionMatrix,r=i.material.resolution,o=i.matrixWorld,a=i.geometry,c=a.attributes.instanceStart,l=a.attributes.instanceEnd,u=Math.min(a.instanceCount,c.count),h=-e.near;ts.at(1,Qi),Qi.w=1,Qi.applyMatrix4(e.matrixWorldInverse),Qi.applyMatrix4(n),Qi.multiplyScalar(1/Qi.w),Qi.x*=r.x/2,Qi.y*=r.y/2,Qi.z=0,zd.copy(Qi),Vd.multiplyMatrices(e.matrixWorldInverse,o);for(let f=0,d=u;f<d;f++){if(Dn.fromBufferAttribute(c,f),Nn.fromBufferAttribute(l,f),Dn.w=1,Nn.w=1,Dn.applyMatrix4(Vd),Nn.applyMatrix4(Vd),Dn.z>h&&Nn.z>h)continue;if(Dn.z>h){let T=Dn.z-Nn.z,S=(Dn.z-h)/T;Dn.lerp(Nn,S)}else if(Nn.z>h){let T=Nn.z-Dn.z,S=(Nn.z-h)/T;Nn.lerp(Dn,S)}Dn.applyMatrix4(n),Nn.applyMatrix4(n),Dn.multiplyScalar(1/Dn.w),Nn.multiplyScalar(1/Nn.w),Dn.x*=r.x/2,Dn.y*=r.y/2,Nn.x*=r.x/2,Nn.y*=r.y/2,Un.start.copy(Dn),Un.start.z=0,Un.end.copy(Nn),Un.end.z=0;let v=Un.closestPointToPointParameter(zd,!0);Un.at(v,U_);let m=xd.lerp(Dn.z,Nn.z,v),p=m>=-1&&m<=1,y=zd.distanceTo(U_)<gr*.5;if(p&&y){Un.start.fromBufferAttribute(c,f),Un.end.fromBufferAttribute(l,f),Un.start.applyMatrix4(o),Un.end.applyMatrix4(o);let T=new U,S=new U;ts.distanceSqToSegment(Un.start,Un.end,S,T),t.push({point:S,pointOnLine:T,distance:ts.origin.distanceTo(S),object:i,face:null,faceIndex:f,uv:null,uv1:null})}}}var Hh=class extends en{constructor(e=new Eo,t=new Ao({color:Math.random()*16777215})){super(e,t),this.isLineSegments2=!0,this.type="LineSegments2"}computeLineDistances(){let e=this.geometry,t=e.attributes.instanceStart,n=e.attributes.instanceEnd,s=new Float32Array(2*t.count);for(let o=0,a=0,c=t.count;o<c;o++,a+=2)D_.fromBufferAttribute(t,o),N_.fromBufferAttribute(n,o),s[a]=a===0?0:s[a-1],s[a+1]=s[a]+D_.distanceTo(N_);let r=new Ws(s,2,1);return e.setAttribute("instanceDistanceStart",new Li(r,1,0)),e.setAttribute("instanceDistanceEnd",new Li(r,1,1)),this}raycast(e,t){let n=this.material.worldUnits,s=e.camera;if(s===null&&!n&&console.error('LineSegments2: "Raycaster.camera" needs to be set in order to raycast against LineSegments2 while worldUnits is set to false.'),n===!1&&(this.material.resolution.x===0||this.material.resolution.y===0))return;let r=e.params.Line2!==void 0&&e.params.Line2.threshold||0;ts=e.ray;let o=this.matrixWorld,a=this.geometry,c=this.material;gr=c.linewidth+r,a.boundingSphere===null&&a.computeBoundingSphere(),Gh.copy(a.boundingSphere).applyMatrix4(o);let l;if(n)l=gr*.5;else{let h=Math.max(s.near,Gh.distanceToPoint(ts.origin));l=F_(s,h,c.resolution)}if(Gh.radius+=l,ts.intersectsSphere(Gh)===!1)return;a.boundingBox===null&&a.computeBoundingBox(),Vh.copy(a.boundingBox).applyMatrix4(o);let u;if(n)u=gr*.5;else{let h=Math.max(s.near,Vh.distanceToPoint(ts.origin));u=F_(s,h,c.resolution)}Vh.expandByScalar(u),ts.intersectsBox(Vh)!==!1&&(n?EA(this,t):TA(this,s,t))}onBeforeRender(e){let t=this.material.uniforms;t&&t.resolution&&(e.getViewport(kd),this.material.uniforms.resolution.value.set(kd.z,kd.w))}};var _r=64,O_=.04,B_=.6,k_=4;function Za(i){let e=i.size;if(i.shape==="box")return new zs(e.size_x,e.size_y,e.size_z);if(i.shape==="sphere")return new wa(e.radius,_r,32).rotateX(Math.PI/2);if(i.shape==="mesh"){let t=new Qt,n=e.triangles.flatMap(s=>s.flatMap(r=>e.vertices[r]));return t.setAttribute("position",new mt(n,3)),t.computeVertexNormals(),t}return CA(Hd(i))}function Gd(i,e){if(i.shape==="box"||i.shape==="mesh"||i.shape==="sphere")return new va(e,25).getAttribute("position").array;let t=Hd(i).filter(([s])=>s>0),n=[];for(let[s,r]of t)for(let o=0;o<_r;o+=1)n.push(...Wh(s,r,o),...Wh(s,r,o+1));return new Float32Array(n)}function z_(i,e){let t=Array.from(Gd(i,e));if(i.shape==="cylinder"||i.shape==="cone"||i.shape==="ring"){let n=Hd(i).filter(([s])=>s>0);for(let s=1;s<n.length;s+=1)for(let r=0;r<k_;r+=1){let o=r*_r/k_;t.push(...Wh(...n[s-1],o),...Wh(...n[s],o))}}return new Float32Array(t)}function Wh(i,e,t){let n=t*2*Math.PI/_r;return[i*Math.cos(n),i*Math.sin(n),e]}function Hd(i){let e=i.size,t=e.height/2;if(i.shape==="ring"){let{inner_radius:r,outer_radius:o}=e,a=Math.min(B_,O_*Math.min(e.height,o-r));return[[r,-t],[o-a,-t],[o,-t+a],[o,t-a],[o-a,t],[r,t],[r,-t]]}if(i.shape==="cone")return[[0,-t],[e.radius_bottom,-t],[e.radius_top,t],[0,t]];let n=e.radius,s=Math.min(B_,O_*Math.min(e.height,n));return[[0,-t],[n-s,-t],[n,-t+s],[n,t-s],[n-s,t],[0,t]]}function CA(i){let e=[],t=[],n=[];for(let r=1;r<i.length;r+=1){let[o,a]=i[r-1],[c,l]=i[r],u=Math.hypot(c-o,l-a)||1,h=(l-a)/u,f=-(c-o)/u,d=e.length/3;for(let g=0;g<=_r;g+=1){let v=g*2*Math.PI/_r,[m,p]=[Math.cos(v),Math.sin(v)];e.push(o*m,o*p,a,c*m,c*p,l),t.push(h*m,h*p,f,h*m,h*p,f)}for(let g=0;g<_r;g+=1){let v=d+2*g;n.push(v,v+2,v+3,v,v+3,v+1)}}let s=new Qt;return s.setAttribute("position",new mt(e,3)),s.setAttribute("normal",new mt(t,3)),s.setIndex(n),s}var qh=["spindle","tool"],V_=["face","nose","holder","shank"],RA=1.6;function PA(i,e,t){return e.startsWith("edge")?"edge":["spindle","tool","pad"].includes(i)&&e in t?e:e==="bolt"?"bolt":i in t?i:"other"}function Yh(i,e){let t=e.turn_deg.map(n=>n*Math.PI/180);i.position.set(...e.at),i.rotation.set(t[0],t[1],t[2],"ZYX")}var Xh=class{constructor(e,t){this.replay=e;this.look=t;this.root=new _n;this.clip=new hi(new U(0,1,0),0);this.size={value:new He(1,1)};this.solids=[];this.models=new Map;this.insides=[];this.clipped=[]}pose(e){let t=this.replay.positionAt(e),n=this.replay.bodiesAt(e,t),[s]=this.replay.spindleAt(e);this.solids=[];for(let r of this.models.values())r.group.visible=!1;for(let r of n.values()){let o=this.modelOf(r),a=this.replay.geometryOf(r),c=a.soft?this.replay.padDepthAt(r.id.replace(/\.pad$/,""),e):0,l=qh.includes(a.kind)?s:0;o.group.visible=!0,o.group.position.set(r.position[0],r.position[1],r.position[2]-c),o.group.rotation.set(0,0,r.turn_deg*Math.PI/180+l),o.group.updateMatrixWorld(!0);for(let u of o.solids)u.box.copy(u.own).applyMatrix4(u.object.matrixWorld);this.solids.push(...o.solids)}}cut(e,t=[0,-1]){let n=e?[this.clip]:null;e&&(this.clip.normal.set(-t[0],-t[1],0).normalize(),this.clip.constant=-this.clip.normal.dot(new U(...e)));for(let s of this.insides)s.visible=e!==null;for(let s of this.clipped)s.clippingPlanes===null!=(n===null)&&(s.needsUpdate=!0),s.clippingPlanes=n}showMachine(e){for(let t of this.solids)t.kind==="machine"&&(t.object.visible=e)}modelOf(e){let t=this.models.get(e.id);if(t&&t.key===e.geometry)return t;t&&this.root.remove(t.group);let n=this.replay.geometryOf(e),s={key:e.geometry,group:new _n,solids:[]};for(let r of n.parts)s.solids.push(this.solidOf(e.id,n,r,s.group));return this.models.set(e.id,s),this.root.add(s.group),s}solidOf(e,t,n,s){let r=PA(t.kind,n.feature,this.look.materials),o=this.look.materials[r],a=Za(n),c=new _n;Yh(c,n);let l=o.opacity>=1,u=new Di({color:o.colour,specular:new je(1,1,1).multiplyScalar(o.specular*.5),shininess:o.gloss,transparent:!l,opacity:o.opacity,depthWrite:l,polygonOffset:!0,polygonOffsetFactor:1,polygonOffsetUnits:1}),h=new en(a,u);h.renderOrder=l?0:5,c.add(h);let f=new Qt;f.setAttribute("position",new ui(Gd(n,a),3));let d=new hr({color:this.look.edge,transparent:!0,opacity:l?.85:.35});if(c.add(new mo(f,d)),l&&n.shape!=="box"&&n.shape!=="mesh"&&c.add(new en(a,this.contour(r))),V_.includes(r)){let v=new en(a,this.hatching(o.colour));v.visible=!1,c.add(v),this.insides.push(v),this.clipped.push(u,d)}s.add(c),a.computeBoundingBox();let g=n.shape==="ring"?n.size.inner_radius:0;return{body:e,kind:t.kind,look:r,feature:n.feature,own:a.boundingBox.clone(),box:new Ln,bore:g,object:c}}hatching(e){let t=new Zn({side:Cn,clipping:!0,uniforms:{base:{value:new je(e)},line:{value:new je(this.look.edge)}},vertexShader:`
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
            gl_Position.xy += normalize(along.xy * size) / size * ${(2*RA).toFixed(1)} * gl_Position.w;
          #include <clipping_planes_vertex>
        }`,fragmentShader:`
        #include <clipping_planes_pars_fragment>
        uniform vec3 ink;
        void main() {
          #include <clipping_planes_fragment>
          gl_FragColor = vec4(ink, 1.0);
          #include <colorspace_fragment>
        }`});return V_.includes(e)&&this.clipped.push(t),t}};var IA=2.5,Zh=class{constructor(e,t){this.replay=e;this.root=new _n;this.outlines=[];this.shown=!0;this.ghosts=new Map;this.pen=new Ao({color:t,linewidth:2.4,dashed:!0,depthTest:!1,transparent:!0})}pose(e,t){for(let c of this.ghosts.values())c.visible=!1;if(this.outlines=[],!this.shown)return;this.pen.dashSize=7*t,this.pen.gapSize=4*t;let n=this.replay.beliefsAt(e),[s,r]=[this.replay.positionAt(e),this.replay.commandAt(e)],o=this.replay.bodiesAt(e,s),a=IA*t;this.tip(e,o,n,s,r,a);for(let c of o.values()){let l=this.replay.geometryOf(c);l.kind==="pad"&&this.pad(c,l,n,a)}this.stockTop(o,n,a)}tip(e,t,n,s,r,o){let a=[...t.values()].find(T=>this.replay.geometryOf(T).kind==="tool");if(!a||this.replay.entry.facts.length_convention!=="face")return;let c=this.replay.geometryOf(a),l=n["active length row"]||n["loaded slot"],u=l?n[`row ${l} length`]:void 0,h=typeof u=="number"?u+(n[`row ${l} wear`]??0):null,f=-DA(c),d=this.replay.data.links[a.link],g=this.replay.lineAt(e),v=this.replay.speedAt(e)===0,m=[0,1,2].map(T=>d[T]*(v||!g?r[T]-s[T]:g.command_start[T]-g.start[T]));if(h!==null&&(m[2]+=f-h),Math.hypot(...m)<o)return;let p=[a.position[0]+m[0],a.position[1]+m[1],a.position[2]+m[2]],y=h!==null?`tip taken to be here, ${ko(Math.abs(m[2]))} ${m[2]>0?"higher":"lower"}`:"the tool should be here";this.show(`tool ${a.geometry}`,c,p,0,y,-f)}pad(e,t,n,s){let r=e.id.replace(/\.pad$/,""),o=e.offset,[a,c]=[n[`setter ${r} x_mm`],n[`setter ${r} y_mm`]],l=[0,0,0];typeof a=="number"&&typeof c=="number"&&([l[0],l[1]]=[a-o[0],c-o[1]]);let u=n[`setter ${r} reference_z_mm`],h=this.replay.entry.facts.setters[r]?.pre_travel_mm;if(typeof u=="number"&&typeof h=="number"&&(l[2]=u-(o[2]+$h(t)-h)),Math.hypot(...l)<s)return;let f=[e.position[0]+l[0],e.position[1]+l[1],e.position[2]+l[2]];this.show(`${e.id} ${e.geometry}`,t,f,e.turn_deg,"pad taken to be here",$h(t))}stockTop(e,t,n){let s=t["active system"]??"G54",r=t[`${s} z`];if(typeof r!="number"||r===0||this.replay.entry.facts.length_convention!=="face")return;let o=[...e.values()].find(u=>this.replay.geometryOf(u).kind==="stock");if(!o)return;let a=this.replay.geometryOf(o),c=r-(o.position[2]+$h(a));if(Math.abs(c)<n)return;let l=[o.position[0],o.position[1],o.position[2]+c];this.show(`${o.id} ${o.geometry}`,a,l,o.turn_deg,`${s} takes the top to be here`,$h(a))}show(e,t,n,s,r,o){let a=this.ghosts.get(e);if(!a){a=new _n;for(let c of t.parts){let l=new Eo;l.setPositions(z_(c,Za(c)));let u=new Hh(l,this.pen);u.computeLineDistances(),u.renderOrder=20,Yh(u,c),a.add(u)}this.ghosts.set(e,a),this.root.add(a)}a.visible=!0,a.position.set(...n),a.rotation.set(0,0,s*Math.PI/180),this.outlines.push({label:r,point:new U(n[0],n[1],n[2]+o)})}};function LA(i){let[e,t]=[1/0,-1/0];for(let n of i.parts){let s=Za(n),r=new _n;Yh(r,n),r.updateMatrix(),s.applyMatrix4(r.matrix).computeBoundingBox(),e=Math.min(e,s.boundingBox.min.z),t=Math.max(t,s.boundingBox.max.z)}return[e,t]}var G_=new WeakMap;function H_(i){let e=G_.get(i);return e||G_.set(i,e=LA(i)),e}function DA(i){return H_(i)[0]}function $h(i){return H_(i)[1]}var W_=["pad","block","stock","fixture","setter","table"],NA=["head","machine","table"],Wd=30,X_=[32,-32,4,78,-78],UA=.28,Jh=class{constructor(e){this.angleDeg=e;this.name="choose";this.now=null;this.aside=[0,0];this.chosen=new Map;this.camera=new Yn(e,1,10,6e4),this.camera.up.set(0,0,1)}approach(e,t,n){this.now||(this.now={...e,focus:e.focus.clone()});let s=this.now,r=t<=0?1:1-Math.exp(-t/UA),o=s.focus.distanceTo(e.focus)/e.half+Math.abs(Math.log(e.half/s.half))+Math.abs(e.azimuth-s.azimuth)+Math.abs(e.elevation-s.elevation);s.focus.lerp(e.focus,r),s.half*=(e.half/s.half)**r,s.azimuth+=(e.azimuth-s.azimuth)*r,s.elevation+=(e.elevation-s.elevation)*r;let a=Math.abs(n[0]-this.aside[0])+Math.abs(n[1]-this.aside[1]);return this.aside[0]+=(n[0]-this.aside[0])*r,this.aside[1]+=(n[1]-this.aside[1])*r,this.put(s),o+a>1e-4}put(e){let t=this.camera.aspect,s=e.half*Math.max(1,1.15/t)/Math.tan(this.angleDeg*Math.PI/360),[r,o]=[e.azimuth*Math.PI/180,e.elevation*Math.PI/180],a=new U(Math.sin(r)*Math.cos(o),-Math.cos(r)*Math.cos(o),Math.sin(o));this.camera.position.copy(e.focus).addScaledVector(a,s),this.camera.near=s*.1,this.camera.far=s*6+8e3,this.camera.lookAt(e.focus);let[c,l]=this.aside;this.camera.setViewOffset(t,1,-c*t,l,t,1),this.camera.updateProjectionMatrix(),this.camera.updateMatrixWorld()}aim(e,t,n,s){if(e==="whole")return q_(t);let r=To(t),o=jh(t,r);if(!r)return q_(t);let a=r.box,[c,l]=[(a.min.x+a.max.x)/2,(a.min.y+a.max.y)/2],u=Kh(t);if(e==="nose"){let y=t.find(C=>C.look==="face")??r,T=y.box.max.x-y.box.min.x,S=new U(u.x,u.y,y.box.min.z);return{focus:S,half:Math.max(.8*T,Wd),azimuth:this.free(S,t,n,X_,s),elevation:-6}}let h=o?Math.max(a.min.z-o.box.max.z,0):0;if(e==="follow"||!o||h>160){let y=Math.min(Math.max(.62*h+60,90),320);return{focus:new U(u.x,u.y,a.min.z-Math.min(h,400)*.42),half:y,azimuth:30,elevation:14}}let f=o.box,d=new U(Math.min(Math.max(c,f.min.x),f.max.x),Math.min(Math.max(l,f.min.y),f.max.y),0),g=Math.max(a.max.x-a.min.x,a.max.y-a.min.y,Math.min(f.max.x-f.min.x,70),12),v=Math.max(.75*g,Wd)+.5*h+.4*Math.hypot(d.x-c,d.y-l),m=new U((c+d.x)/2,(l+d.y)/2,(a.min.z+Math.min(f.max.z,a.min.z))/2);r.look==="lug"&&m.set((m.x+u.x)/2,(m.y+u.y)/2,m.z);let p=s?-4:9;return{focus:m,half:s?v*1.25:v,azimuth:this.free(m,t,n,X_,s),elevation:p}}place(e){let t=e.box.getSize(new U),n=Math.max(1.5*Math.max(t.x,t.y),Wd);return{focus:e.box.getCenter(new U).setZ(e.box.max.z),half:n,azimuth:24,elevation:18}}free(e,t,n,s,r){let o=n?this.chosen.get(n):void 0;if(o!==void 0)return o;let a=Kh(t),c=r?To(t):null,l=s.map(h=>{let f=h*Math.PI/180,d=e.clone().add(new U(Math.sin(f),-Math.cos(f),.16).multiplyScalar(900)),g=t.filter(m=>!NA.includes(m.look)&&!qh.includes(m.kind)&&!["pad","setter"].includes(m.kind)&&FA(d,e,m.box)).length;if(!c)return g;let v=c.box.getCenter(new U).sub(a);return g+(v.x*(d.x-e.x)+v.y*(d.y-e.y)<0?.5:0)}),u=s[l.indexOf(Math.min(...l))];return n&&this.chosen.set(n,u),u}};function To(i){return i.filter(t=>qh.includes(t.kind)&&t.look!=="head").reduce((t,n)=>t&&t.box.min.z<=n.box.min.z?t:n,null)}function jh(i,e){if(!e)return null;let t=null,n=1/0;for(let s of i){if(!W_.includes(s.kind))continue;let r=e.box,o=s.box,a=Math.hypot(Math.max(r.min.x-o.max.x,o.min.x-r.max.x,0),Math.max(r.min.y-o.max.y,o.min.y-r.max.y,0),Math.max(r.min.z-o.max.z,o.min.z-r.max.z,0)),c=Math.round(a*2)+W_.indexOf(s.kind)*.01;c<n&&([t,n]=[s,c])}return t}function Kh(i){let e=i.find(t=>t.look==="face"||t.look==="holder"||t.look==="nose");return e?e.box.getCenter(new U):new U}function q_(i){let e=new Ln;for(let n of i)e.union(n.box);e.isEmpty()&&e.set(new U(-400,-400,-400),new U(400,400,400));let t=e.getSize(new U);return{focus:e.getCenter(new U),half:.4*t.length(),azimuth:34,elevation:20}}function FA(i,e,t){let[n,s]=[0,1];for(let r of["x","y","z"]){let o=e[r]-i[r],[a,c]=[t.min[r]-i[r],t.max[r]-i[r]];if(Math.abs(o)<1e-12){if(a>=0||c<=0)return!1;continue}let[l,u]=o>0?[a/o,c/o]:[c/o,a/o];n=Math.max(n,l),s=Math.min(s,u)}return n<s}var OA=["face","lug","tip","edge","cutting","holder","pad","bolt","block","stock","setter","fixture"],BA=7,Xd=12,Qh=class{constructor(e){this.host=e;this.chips=[];this.svg=document.createElementNS("http://www.w3.org/2000/svg","svg");this.shown=!0;this.drawn="";this.svg.setAttribute("class","leaders"),e.append(this.svg)}draw(e,t,n,s,r,o,a,c){let l=[],u=(h,f,d)=>{let g=f.clone().project(r),[v,m]=[(g.x+1)/2*o,(1-g.y)/2*a];return g.z<1&&v>8&&v<o-8&&m>30&&m<a-12&&l.length<BA&&!(v<c.left&&m>a-c.bottom)?(l.push({text:h,x:v,y:m,belief:d}),!0):!1};if(this.shown){for(let h of s)u(h.label,h.point,!0);for(let h of n)u(h.label,h.point,!1);for(let h of OA){let f=e.filter(g=>g.look===h);if(f.length===0)continue;let d=r.position;for(let g of f.sort((v,m)=>qd(v.box,d)-qd(m.box,d)))if(!(g.box.getSize(new U).length()/qd(g.box,d)<.012)&&u(t[h],kA(g,d),!1))break}}this.lay(l,o,a,c)}lay(e,t,n,s){let r=[...e].sort((u,h)=>u.x-h.x),o=Math.ceil(r.length/2),a=[],c=0;[r.slice(0,o),r.slice(o)].forEach((u,h)=>{u.sort((p,y)=>p.y-y.y);let f=u.map(p=>{let y=this.chip(c++);return y.textContent!==p.text&&(y.textContent=p.text),y.className=p.belief?"chip belief":"chip",{label:p,chip:y,w:y.offsetWidth,h:y.offsetHeight,top:0}}),d=s.top;for(let p of f)p.top=Math.max(p.label.y-p.h/2,d),d=p.top+p.h+8;let g=Math.max(0,...f.map(p=>p.w)),v=h===1&&t-g-Xd>s.left,m=n-(v?44:s.bottom);for(let p of[...f].reverse()){p.top=Math.min(p.top,m-p.h),m=p.top-8;let y=h===0?Xd:t-Xd-p.w;p.chip.style.transform=`translate(${Math.round(y)}px, ${Math.round(p.top)}px)`;let T=h===0?y+p.w:y,S=p.top+p.h/2,C=p.label.belief?"belief":"plain",E=`M${T.toFixed(1)} ${S.toFixed(1)}L${p.label.x.toFixed(1)} ${p.label.y.toFixed(1)}`;a.push(`<path class="under" d="${E}"/><path class="${C}" d="${E}"/><circle class="${C}" cx="${p.label.x.toFixed(1)}" cy="${p.label.y.toFixed(1)}" r="4.5"/>`)}});for(let u=c;u<this.chips.length;u+=1)this.chips[u].className="chip none";let l=a.join("");l!==this.drawn&&(this.svg.innerHTML=this.drawn=l)}chip(e){for(;this.chips.length<=e;){let t=document.createElement("div");this.host.append(t),this.chips.push(t)}return this.chips[e]}};function qd(i,e){return i.getCenter(new U).distanceTo(e)}function kA(i,e){let t=i.box,n=t.getCenter(new U),s=new U(e.x-n.x,e.y-n.y,0).normalize(),r=t.max.z-t.min.z,a=i.kind==="spindle"||i.kind==="tool"?t.min.z+Math.min(.25*r,12):t.max.z-Math.min(.4*r,12);return new U(n.x+s.x*(t.max.x-t.min.x)*.46,n.y+s.y*(t.max.y-t.min.y)*.46,a)}var eu={radius:8,length:60},tu=class{constructor(e,t){this.replay=e;this.root=new _n;this.labels=[];let n=new en(new ya(eu.radius,eu.length,8,24),new Di({color:t}));n.rotation.x=Math.PI/2,n.position.z=eu.radius+eu.length/2,this.root.add(n),this.root.rotation.set(0,.95,0),this.root.visible=!1}whereAt(e){let t="";for(let[n,s,r]of this.replay.data.events){if(n>e)break;s==="hand"&&(t=typeof r=="string"?r:"")}return t}pose(e,t){let n=this.whereAt(e),s=n?Yd(n,t):null;if(this.root.visible=s!==null,this.labels=[],!s)return;let r=s.box.getCenter(new U);this.root.position.set(r.x,r.y,s.box.max.z),this.labels.push({label:`a hand, ${n}`,point:new U(r.x+30,r.y,s.box.max.z+22)})}};function Yd(i,e){let n=[["pad","pad"],["setter","pad"],["block","block"],["stock","stock"],["vise","fixture"]].find(([s])=>i.includes(s))?.[1];return e.find(s=>s.kind===n)??e.find(s=>s.kind==="pad")??null}var nu=17,$d=74,zA=2.2,VA="#e3b23c",Y_="#3d4854",iu=class{constructor(e){this.replay=e;this.root=new _n;this.labels=[];this.panel=[];this.sockets=new Map;this.cables=new Map}showSockets(e){for(let t of this.panel)t.visible=e}pose(e,t){let n=Object.keys(this.replay.entry.facts.sockets),s=t.filter(a=>a.kind==="setter");this.labels=[];for(let{mesh:a}of this.cables.values())a.visible=!1;if(n.length===0||s.length===0)return;this.sockets.size===0&&this.build(n,t);let r=this.replay.plugsAt(e),o=this.replay.beliefsAt(e);for(let a of n){let c=this.replay.entry.facts.sockets[a],l=this.sockets.get(a),u=this.replay.signalAt(`input ${c}.raw`,e)===1;l.lamp.color.set(u?VA:Y_);let h=Object.keys(r).some(d=>o[`setter ${d} input`]===c),f=Object.values(r).includes(a);(h||f)&&this.labels.push({label:`input ${c}: ${u?"on":"off"}${h?", watched":", not watched"}`,point:l.at})}for(let a of new Set(s.map(c=>c.body)))this.cable(a,s.filter(c=>c.body===a),r[a]??null,t)}build(e,t){let n=t.find(a=>a.kind==="machine"),s=t.find(a=>a.kind==="table"),r=(e.length-1)*$d,o=new U(-r/2,460,0);n&&o.set(n.box.min.x+$d,n.box.min.y-6,(s?.box.max.z??-540)+150),e.forEach((a,c)=>{let l=o.clone().add(new U(c*$d,0,0)),u=new en(new go(nu+7,nu+7,8,32),new Di({color:"#aab4be"})),h=new Di({color:Y_}),f=new en(new go(nu,nu,14,32),h);u.position.copy(l),f.position.copy(l),this.root.add(u,f),this.panel.push(u,f),this.sockets.set(a,{lamp:h,at:l})})}cable(e,t,n,s){let r=t[0].box,o=s.find(v=>v.kind==="table")?.box,a=new U((r.min.x+r.max.x)/2,r.max.y,r.min.z+14),c=new U(a.x,Math.max(o?.max.y??0,a.y+40)-12,a.z-8),l=n?this.sockets.get(n):void 0,u=[a,a.clone().add(new U(0,25,-6)),c];if(l){let v=Math.min(c.z,l.at.z)-60;u.push(new U(c.x+(l.at.x-c.x)*.35,c.y+40,v)),u.push(l.at.clone().add(new U(0,-60,-20)),l.at.clone().add(new U(0,-8,0)))}else u.push(c.clone().add(new U(30,40,-60)));let h=u.map(v=>`${v.x.toFixed(1)} ${v.y.toFixed(1)}`).join()+n,f=this.cables.get(e);if(f&&(f.mesh.visible=!0),f?.key===h)return;let d=new Aa(new _o(u,!1,"centripetal"),40,zA,7);if(f){f.mesh.geometry.dispose(),f.mesh.geometry=d,f.key=h;return}let g=new en(d,new Di({color:"#5b6875"}));this.root.add(g),this.cables.set(e,{mesh:g,key:h})}};var Zd=1.1,GA=.9,HA=.7,WA=150,XA=["hand-in-reach","setter-moved","stale-reference","wrong-number"],$_=60,qA=.005,YA=["pad","block","stock"],$A=250;function ZA(){let i=document.createElement("canvas").getContext("webgl"),e=i?.getExtension("WEBGL_debug_renderer_info"),t=i&&e?String(i.getParameter(e.UNMASKED_RENDERER_WEBGL)):"";return i?.getExtension("WEBGL_lose_context")?.loseContext(),/swiftshader|llvmpipe|softpipe|software|basic render/i.test(t)}var su=class{constructor(e,t,n){this.player=e;this.index=t;this.host=n;this.cutOpen=null;this.frames=0;this.free=null;this.room={top:56,bottom:12,left:0};this.aside=[0,0];this.restsAt=0;this.scene=new fa;this.dirty=!0;this.floor=null;this.size=[0,0];let s=e.page.look,r=e.replays[t];this.slow=ZA(),this.renderer=new Oh({antialias:!this.slow,powerPreference:"high-performance"}),this.renderer.localClippingEnabled=!0,this.renderer.setPixelRatio(this.slow?1:Math.min(window.devicePixelRatio,2)),n.prepend(this.renderer.domElement),this.renderer.domElement.setAttribute("aria-hidden","true"),this.scene.background=new je(s.background_low),this.eye=new Jh(s.view_angle_deg),this.stage=new Xh(r,s),this.belief=new Zh(r,s.belief),this.wiring=new iu(r),this.hand=new tu(r,s.materials.hand.colour),this.labels=new Qh(n),this.bar=document.createElement("div"),this.bar.className="scalebar",n.append(this.bar),this.scene.add(this.stage.root,this.belief.root,this.wiring.root,this.hand.root,this.eye.camera),this.light(),this.hands(),new ResizeObserver(()=>this.resize()).observe(n),this.resize()}light(){this.scene.add(new Ra("#ffffff","#c4ccd4",1.9));for(let[e,t,n,s]of[[-.8,1.1,.9,1.25],[1,.5,.7,.5]]){let r=new La("#ffffff",s);r.position.set(e,t,n),this.eye.camera.add(r,r.target)}}resize(){let[e,t]=[this.host.clientWidth,this.host.clientHeight];e<2||t<2||(this.size=[e,t],this.renderer.setSize(e,t),this.eye.camera.aspect=e/t,this.stage.size.value.set(e,t),this.belief.pen.resolution.set(e,t),this.dirty=!0)}touch(){this.dirty=!0}draw(e){if(!this.dirty&&!this.player.playing){this.rest();return}this.slow&&this.renderer.getPixelRatio()!==1&&this.renderer.setPixelRatio(1),this.restsAt=performance.now()+$A;let t=this.player.timeOf(this.index);this.stage.pose(t),this.wiring.pose(t,this.stage.solids),this.hand.pose(t,this.stage.solids);let{aim:n,name:s}=this.choose(t),r=this.eye.approach(n,e,this.aside),o=s==="whole"||(this.eye.now?.half??0)>380;this.stage.showMachine(o),this.wiring.showSockets(o),this.cut(t);let[a,c]=this.size,l=2*(this.eye.now?.half??100)*Math.max(1,1.15/(a/c))/c;this.belief.pose(t,l),this.ground(),this.renderer.render(this.scene,this.eye.camera);let u=l>.7,h=[...this.hand.labels,...u?this.wiring.labels:[]];this.labels.draw(this.stage.solids,this.names(t),h,this.belief.outlines,this.eye.camera,a,c,this.room),this.scale(l,a),this.frames+=1,this.dirty=r}rest(){!this.slow||this.restsAt===0||performance.now()<this.restsAt||(this.restsAt=0,this.renderer.setPixelRatio(2),this.renderer.render(this.scene,this.eye.camera))}choose(e){let t=this.stage.solids,n=this.player.presses[this.index].find(a=>e>a.contact-Zd&&e<Math.max(a.rest,a.end)+GA)??null;if(this.eye.name==="free"&&this.free)return{aim:this.free,name:"free"};let s=To(t)?.look==="lug",r=this.eye.name;if(r==="choose"){let a=this.player.replays[this.index].entry.findings.some(g=>Math.abs(g.t-e)<Zd&&g.severity!=="risky"),c=To(t),l=jh(t,c),u=c&&l?Math.abs(c.box.min.z-l.box.max.z):1/0,h=this.player.replays[this.index].lineAt(e),f=h&&["rapid","return","home"].includes(h.kind)&&h.t[1]-h.t[0]>HA&&e<h.t[1],d=n||u<$_?null:this.placeToSee(e);if(d)return{aim:this.eye.place(d),name:"pad"};n||a&&u<60?r="pad":e<=1e-9||f&&u>60?r="whole":u<40&&!f?r="pad":r="follow"}let o=this.eye.aim(r,t,n,s&&(n!==null||r==="nose"));return r==="follow"&&this.eye.name==="choose"&&(o.half=Math.max(o.half,WA)),{aim:o,name:r}}placeToSee(e){let{entry:t}=this.player.replays[this.index],n=this.stage.solids,s=this.hand.whereAt(e);return s?Yd(s,n):t.findings.some(o=>XA.includes(o.code)&&Math.abs(o.t-e)<(o.t>0?Zd:1e-9))?n.find(o=>o.kind==="pad")??null:null}names(e){let t=this.stage.solids,n={...this.player.page.look.labels},s=To(t),r=s?.look==="lug"&&t.find(u=>u.look==="face")||s,o=jh(t,r);if(r&&o&&YA.includes(o.kind)&&JA(r,o)){let u=r.box.min.z-o.box.max.z;u>qA&&u<$_&&(n[r.look]+=`
${ko(u,2)} above the ${o.kind}`)}let a=this.player.replays[this.index].beliefsAt(e),c=new Set(t.filter(u=>u.kind==="pad").map(u=>u.body.replace(/\.pad$/,""))),l=this.belief.outlines.some(u=>u.label.startsWith("pad"));for(let u of c){let h=a[`setter ${u} reference_valid`];c.size>1||typeof a[`setter ${u} reference_z_mm`]!="number"||(h===!1?n.pad+=`
reference flagged invalid`:h===!0&&l&&(n.pad+=`
reference flagged valid`))}return n}cut(e){let t=this.stage.solids,n=this.cutOpen;n===null&&(n=this.hidden(e));let s=Kh(t),r=this.eye.camera.position.clone().sub(s);this.stage.cut(n?[s.x,s.y,s.z]:null,[r.x,r.y])}hidden(e){return this.player.replays[this.index].entry.findings.some(n=>n.code==="missed-edge"&&Math.abs(n.t-e)<1.5)?!0:this.stage.solids.some(n=>n.look==="face"&&this.stage.solids.some(s=>{if(s.kind!=="pad")return!1;let[r,o]=[n.box.getCenter(new U),s.box.getCenter(new U)],a=Math.max(s.box.max.x-s.box.min.x,s.box.max.y-s.box.min.y)/2;return Math.hypot(r.x-o.x,r.y-o.y)+a<=n.bore&&s.box.max.z>n.box.min.z+.001}))}ground(){if(this.floor)return;let e=this.stage.solids.filter(n=>n.kind==="machine"||n.kind==="table");if(e.length===0)return;let t=Math.min(...e.map(n=>n.box.min.z));this.floor=new Ua(4e3,40,"#aab6c2","#c3ccd6"),this.floor.rotateX(Math.PI/2),this.floor.position.set(0,0,t),this.scene.add(this.floor)}scale(e,t){let n=ls()?25.4:1,s=n;for(let a=-3;a<4;a+=1)for(let c of[1,2,5])c*10**a*n/e<=t*.2&&(s=c*10**a*n);let r=Math.max(0,-Math.floor(Math.log10(s/n)+1e-9));this.bar.style.width=`${s/e}px`;let o=ls()?`${(s/25.4).toFixed(r)} in`:ko(s,r);this.bar.textContent!==o&&(this.bar.textContent=o)}setCamera(e){this.eye.name=e,this.dirty=!0}grab(e,t,n,s=0,r=0){let o=this.eye.name==="free"&&this.free?this.free:this.eye.now;if(!o)return;let a=o.azimuth*Math.PI/180,c=o.focus.clone().add(new U(Math.cos(a)*s,Math.sin(a)*s,r));this.free={focus:c,half:Math.min(Math.max(o.half*n,.5),3e3),azimuth:o.azimuth+e,elevation:Math.min(Math.max(o.elevation+t,-85),88)},this.setCamera("free"),this.player.changed()}hands(){let e=this.renderer.domElement;e.addEventListener("pointerdown",t=>e.setPointerCapture(t.pointerId)),e.addEventListener("pointermove",t=>{if(!(!e.hasPointerCapture(t.pointerId)||t.buttons===0))if(t.buttons===1&&!t.shiftKey)this.grab(-t.movementX*.4,t.movementY*.4,1);else{let n=2*(this.eye.now?.half??100)/this.size[1];this.grab(0,0,1,-t.movementX*n,t.movementY*n)}}),e.addEventListener("contextmenu",t=>t.preventDefault()),e.addEventListener("wheel",t=>{t.preventDefault(),this.grab(0,0,Math.exp(Math.sign(t.deltaY)*.12))},{passive:!1})}};function JA(i,e){return i.box.min.x<e.box.max.x&&e.box.min.x<i.box.max.x&&i.box.min.y<e.box.max.y&&e.box.min.y<i.box.max.y}var KA=60,jA=2.2;function Z_({desk:i}){let[,e]=wu(s=>s+1,0);Au(()=>{let s=0,r=0,o=i.player.listen(()=>{let a=performance.now();(!i.player.playing||a-s>KA)&&(s=a,clearTimeout(r),e(0))});return()=>{o(),clearTimeout(r)}},[]);let{player:t}=i,n=t.replays.length>1;return X("div",{class:n?"page pair":"page",children:[X(QA,{desk:i}),X("main",{class:n?"work two":"work",children:[t.replays.map((s,r)=>X(eE,{desk:i,index:r},r)),X("div",{class:"side",children:[X(Wp,{desk:i}),X(tE,{desk:i})]})]}),X(Dg,{desk:i}),X("footer",{role:"note",children:t.page.caution}),X(nE,{desk:i}),i.help&&X(iE,{desk:i})]})}function QA({desk:i}){let{player:e}=i,n=e.hiddenFrom===1/0&&e.t>=Math.max(0,...i.told.map(r=>r.at))&&e.t>e.start&&(e.t>=e.end||i.told.length>0),s=e.page.entries.map((r,o)=>(e.page.entries.length>1?`${"AB"[o]}: `:"")+r.title).join("  |  ");return X("header",{children:[X("h1",{title:s,children:s}),n&&e.page.entries.map((r,o)=>{let a=e.page.look.verdicts[r.verdict]??e.page.look.verdicts[""];return X("span",{class:"verdict",style:{color:a.colour},children:[e.page.entries.length>1?`${"AB"[o]} `:"",X(Is,{look:a,size:26})," ",a.word]},o)}),X("label",{class:"cameras",children:["View ",X("select",{value:i.views[0]?.eye.name??"choose",onChange:r=>i.setCamera(r.currentTarget.value),children:[zo.map(([r,o,a])=>X("option",{value:r,children:[o," (",a,")"]},r)),X("option",{value:"free",disabled:!0,children:"by hand"})]})]}),X("button",{onClick:()=>i.toggle("inch"),"aria-label":`Lengths are in ${i.inch?"inches":"millimetres"}; change`,children:i.inch?"inch":"mm"}),X("button",{"aria-expanded":i.help,onClick:()=>i.toggle("help"),children:"Keys"})]})}function eE({desk:i,index:e}){let t=Ir(null),n=Ir(null);Oo(()=>{n.current=new su(i.player,e,t.current),i.views[e]=n.current},[]);let{player:s}=i,r=s.replays[e],o=s.timeOf(e),a=s.pressNow(e),c=Jp(r,o),l=Math.max(s.rateAt(s.t),1e-4),u=s.moments.filter(d=>d.t<=s.t+1e-9&&d.t>s.t-jA*l&&d.kind!=="step"&&(s.replays.length<2||d.text.startsWith("AB"[e]))),h=u[u.length-1],f=h&&h.kind!=="finding"&&!(h.t>s.hiddenFrom)?Pn(h.text.replace(/^[AB]: /,"")):"";return Au(()=>{n.current&&(n.current.room={top:48,bottom:a?226:14,left:a?540:0},n.current.aside=a?s.replays.length>1?[0,.17]:[.16,.1]:[0,0],n.current.touch())}),X("section",{class:"picture","aria-label":s.replays.length>1?`Picture ${"AB"[e]}`:"Picture",children:[X("div",{class:"canvas",ref:t}),X("div",{class:"doing",children:[X("span",{class:"head-line",children:[s.replays.length>1&&X("b",{children:["AB"[e]," "]}),Pn(c.head)]}),c.code&&X("code",{children:c.code}),(f||c.note)&&X("span",{class:"caption",children:f||Pn(c.note)})]}),a&&X(Tg,{replay:r,press:a,t:o,known:s.hiddenFrom+s.shift(e)})]})}function tE({desk:i}){let e=Ir(null);return Oo(()=>{i.plots=new Al(i,e.current),i.plots.draw(0)},[]),X("section",{class:"signals","aria-label":"Signals",ref:e})}function nE({desk:i}){let{asked:e}=i.player,t=i.reading,n="";return e&&e.chosen<0?n=`Question: ${e.ask}`:e?n=`${e.chosen+1===e.answer?"Right.":"Not so."} ${e.because}`:typeof t=="object"&&!i.hidden(t)&&(n=`Finding: ${t.title}. ${t.sentences.map(s=>s[1]).join(" ")}`),X("div",{class:"visually-hidden","aria-live":"polite",children:Pn(n)})}function iE({desk:i}){return X("div",{class:"help",role:"dialog","aria-label":"Keys",children:X("div",{children:[X("h2",{children:"Keys"}),X("dl",{children:Xp.map(([e,t])=>X("div",{children:[X("dt",{children:X("kbd",{children:e})}),X("dd",{children:t})]},e))}),X("p",{children:"Drag turns the picture, Shift and drag moves it, the wheel zooms. A click in a plot goes to that time."}),X("p",{children:"Solid: where things are. Dashed: where the controller takes them to be, drawn when that differs enough to see."}),X("button",{autofocus:!0,onClick:()=>i.toggle("help"),children:"Close"})]})})}var sE=.05;function rE(){let i=JSON.parse(document.getElementById("data").textContent),e=new Cl(i),t=new cl(e),n=document.getElementById("page");try{Pp(X(Z_,{desk:t}),n)}catch(c){n.innerHTML="",n.append(`This page needs WebGL to draw, and this browser gives none (${String(c)}). Switch on graphics acceleration, or open the page in another browser.`);return}qp(t);let s=performance.now(),r=s,o=!0;e.listen(()=>{if(o=!0,!e.playing)for(let c of t.views)c.touch()});let a=c=>{let l=Math.max(c-s,0)/1e3;s=c,e.tick(l);for(let h of t.views)h.draw(l);let u=(c-r)/1e3;o&&(!e.playing||u>sE)&&(t.plots?.draw(u),r=c,o=!1),requestAnimationFrame(a)};for(let c of t.views)c.draw(0);oE(t),requestAnimationFrame(a)}function oE(i){let{player:e}=i;window.drytouch={readyMs:performance.now(),positionAt:(t,n=0)=>e.replays[n].positionAt(t),commandAt:(t,n=0)=>e.replays[n].commandAt(t),speedAt:(t,n=0)=>e.replays[n].speedAt(t),padDepthAt:(t,n,s=0)=>e.replays[s].padDepthAt(t,n),signalAt:(t,n,s=0)=>e.replays[s].signalAt(t,n),seek:t=>e.seek(t),setCamera:t=>i.setCamera(t),state:()=>({t:e.t,start:e.start,end:e.end,playing:e.playing,rate:e.rate,running:e.rateAt(e.t),asked:e.asked?.ask??null,times:e.replays.map((t,n)=>e.timeOf(n)),frames:i.views.map(t=>t.frames),camera:i.views[0].eye.name,outlines:i.views.map(t=>t.belief.outlines.map(n=>n.label))})}}rE();})();
